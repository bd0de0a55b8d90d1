//! The order side of the lab. Pure: no database, file or clock. `today` is always an argument.
//!
//! # Files
//!
//! * [`lab`] – the lab's own details and settings.
//! * [`catalogue`] – materials, coatings and tints with prices and codes.
//! * [`customer`] – a person with an address.
//! * [`frame`] – a frame as its maker describes it: stamped sizes, rim, price.
//! * [`frame_shape`] – the traced shape of a frame, and cautions about it.
//! * [`eye_by_eye`] – a shape whose eyes came one by one.
//! * [`prescription`] – a prescription with its pupil distances and dates.
//! * [`order`] – everything needed to open a job.
//! * [`bill`] – the lines of the bill and their prices.
//! * [`payment`] – payments; [`refund`] – money that goes back, and what that does to the bill.
//! * [`open_balance`] – who owes what since when; [`reminder`] – the words to them.
//! * [`takings`] – what came in and was billed in a day, a month or a year.
//! * [`npi`] – a prescriber's number, with its check digit.
//! * [`account`] – the bill and the payments of a job together: every sum of its money.
//! * [`procedure_code`] – HCPCS codes: which code a lens, material or treatment has.
//! * [`receipt`] – the receipt as a stored document.
//! * [`job`] – a job, its history and its stage.
//! * [`cancellation`] – who cancelled an order, and what becomes of lenses and money.
//! * [`correction`] – what a correction of an order changes, and what follows from it.
//! * [`parcel_return`] – a parcel that came back or is lost.
//! * [`deadline`] – the promised date and the mail-order rule (16 CFR 435).
//! * [`fitting`] – the position of wear, and the decision which power to order.
//! * [`search`] – what is typed to find a job by.
//! * [`stock`] – uncut lenses: the drawer, and the pair taken for a job.
//! * [`supplier_list`] – reads a supplier's list of blanks.
//! * [`impact`] – what says that the lenses of a job resist impact (21 CFR 801.410).
//! * [`erasure`] – which records of a customer go at their request, and which have to stay.
//! * [`backup`] – how backups are named, and which are kept as they grow old.
//! * [`attachment`] – photographs and letters that are kept with a job.
//! * [`old_record`] – jobs of before Rimbook, from a table and trace files.
//! * [`own_frame`] – the customer's own frame, sent in.
//! * [`packing`] – the packing list and the sentences on the packing sheet.
//! * [`money`] – amounts in whole cents.
//! * [`csv`] – tables that a spreadsheet opens.
//! * [`id`] – named ids; `key` – the key of a choice; [`limit`] – the range of a typed number.
//! * [`step`] – what comes next on a job, and at which stage each step may be done.
//! * [`text`] – checks typed text: trimmed, limited length, no control characters.

pub mod account;
pub mod attachment;
pub mod backup;
pub mod bill;
pub mod bookkeeping;
pub mod calendar;
pub mod cancellation;
pub mod catalogue;
pub mod causes;
pub mod center_height;
pub mod correction;
pub mod csv;
pub mod customer;
pub mod date;
pub mod deadline;
pub mod delay;
pub mod delivery_list;
pub mod drilling;
pub mod erasure;
pub mod eye_by_eye;
pub mod eye_order;
pub mod fault;
pub mod fitting;
pub mod frame;
pub mod frame_shape;
pub mod id;
pub mod impact;
pub mod job;
pub(crate) mod key;
pub mod lab;
pub mod limit;
pub mod money;
pub mod npi;
pub mod old_record;
pub mod open_balance;
pub mod order;
pub mod own_frame;
pub mod packing;
pub mod parcel_return;
pub mod pass_phrase;
pub mod payment;
pub mod prescription;
pub mod procedure_code;
pub mod purchase;
pub mod rebill;
pub mod receipt;
pub mod refund;
pub mod remake;
pub mod reminder;
#[cfg(test)]
pub(crate) mod sample;
pub mod search;
pub mod shape_file;
pub mod step;
pub mod stock;
pub mod supplier_list;
pub mod takings;
pub mod text;
pub mod unfinished;
