//! The order side of the lab. Pure: std, time and uuid; `today` is always an argument.
//!
//! The [`lab`] itself, its [`catalogue`], a [`customer`], a [`frame`] and its traced [`frame_shape`], a
//! [`prescription`], an [`order`] with its [`bill`] and [`payment`]s, the [`job`] it becomes, the [`deadline`] it is
//! promised for, their named [`id`]s, how the frame sits ([`fitting`]), the lenses in hand ([`stock`]), which blanks a supplier has
//! ([`supplier_list`]), [`packing`], and the [`receipt`] with its [`procedure_code`]s.

pub mod bill;
pub mod catalogue;
pub mod customer;
pub mod deadline;
pub mod fitting;
pub mod frame;
pub mod frame_shape;
pub mod id;
pub mod job;
pub(crate) mod key;
pub mod lab;
pub mod money;
pub mod order;
pub mod packing;
pub mod payment;
pub mod prescription;
pub mod procedure_code;
pub mod receipt;
pub mod step;
pub mod stock;
pub mod supplier_list;
pub mod text;
