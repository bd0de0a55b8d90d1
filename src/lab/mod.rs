//! The business in the owner's words. Pure: std, time and uuid; `today` is always an argument.
//!
//! Nouns: the [`profile`] of the lab, its [`catalogue`], a [`customer`], a [`frame`], an [`order`] and the [`job`] it
//! becomes, the [`deadline`] it is promised for, the [`layout`] for the bench, the lenses in hand ([`stock`]), what a
//! lens is ([`lens_body`]) and its edge ([`edge_choice`]), what another material would be ([`material_choice`]), which
//! blanks a supplier has ([`supplier_list`]), the lens as [`worn`], the [`balance`] of its prism and the lab's
//! [`habit`]s, the [`mod@bench`] ticket, the check ([`verification`]) and [`packing`] of a finished pair and the
//! [`receipt`] with its [`procedure`] codes.

pub mod balance;
pub mod bench;
pub mod catalogue;
pub mod customer;
pub mod deadline;
pub mod edge_choice;
pub mod frame;
pub mod habit;
pub mod job;
pub mod kept_shape;
pub mod layout;
pub mod lens_body;
pub mod material_choice;
pub mod money;
pub mod order;
pub mod packing;
pub mod procedure;
pub mod profile;
pub mod receipt;
pub mod stock;
pub mod supplier_list;
pub mod text;
pub mod verification;
pub mod way;
pub mod wear;
pub mod worn;
