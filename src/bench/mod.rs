//! The bench side of the lab: what is computed for a job on its way from order to finished pair. Pure: std, time and
//! uuid.
//!
//! * [`layout`]: where the lenses go in the frame; [`layout_record`]: the same in the numbers that are stored.
//! * [`real_size`]: the sizes that can be had, and how a prescribed prism comes into the lens.
//! * [`lens`]: which lens a job has; [`bevel_place`]: its edge, bevel or groove.
//! * [`device_records`]: the job in the records that a blocker or an edger asks for.
//! * [`material_comparison`]: the same lens in other materials.
//! * [`compensation`]: the power to order for the position of wear.
//! * [`prism_balance`]: the prism of the pair.
//! * [`process_spread`]: how exactly the lab works, and the chance to pass.
//! * [`notes`]: what the bench ticket says about edge, size and care.
//! * [`verification`]: the check of a finished pair.

pub mod bevel_place;
pub mod buying;
pub mod compensation;
pub mod device_records;
pub mod drilling;
pub mod layout;
pub mod layout_record;
pub mod lens;
pub mod material_comparison;
pub mod notes;
pub mod prism_balance;
pub mod process_spread;
pub mod real_size;
pub mod verification;
