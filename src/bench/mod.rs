//! The bench side of the lab: what is computed for a job on its way from order to finished pair. Pure: std, time and
//! uuid.
//!
//! The [`layout`] for the bench and the [`layout_record`] that is stored of it, what a lens is ([`lens`]) and its edge ([`edge_finish`]), what another material would
//! be ([`material_comparison`]), the power to order for the position of wear ([`compensation`]), the prism of the pair
//! ([`prism_balance`]), how exactly the lab works ([`process_spread`]), the bench ticket's [`notes`], and the check of
//! a finished pair ([`verification`]).

pub mod compensation;
pub mod edge_finish;
pub mod layout;
pub mod layout_record;
pub mod lens;
pub mod material_comparison;
pub mod notes;
pub mod prism_balance;
pub mod process_spread;
pub mod verification;
