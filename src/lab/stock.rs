//! Uncut lenses: the drawer, and the pair taken in hand for a job.

use uuid::Uuid;

use crate::optics::Eye;
use crate::optics::unit::{Dioptre, Millimetre};

/// A kind of uncut lens in the drawer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerLens {
    /// The key in the book.
    pub id: Uuid,
    /// Name of its material today.
    pub material_name: String,
    /// What it is.
    pub details: DrawerLensDetails,
    /// How many are left.
    pub count: i64,
    /// How often the count moved: the running number of the form that corrects it.
    pub moves: i64,
}

/// What an uncut lens is: minus-cylinder form, as printed on its envelope.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrawerLensDetails {
    /// The key all versions of its material share.
    pub material_line: Uuid,
    /// Sphere.
    pub sphere: Dioptre,
    /// Cylinder, zero or minus.
    pub cylinder: Dioptre,
    /// Diameter.
    pub diameter: Millimetre,
    /// Centre thickness.
    pub centre: Millimetre,
    /// Power of the front surface.
    pub front_power: Dioptre,
}

/// The uncut lens taken in hand for one eye.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensInHand {
    /// For which eye.
    pub eye: Eye,
    /// From the drawer, or bought for this job.
    pub drawer_lens: Option<Uuid>,
    /// Supplier, lot and certificate, as the owner writes them.
    pub source: String,
    /// Diameter.
    pub diameter: Millimetre,
    /// Centre thickness as printed on the envelope.
    pub centre: Option<Millimetre>,
    /// Power of the front surface.
    pub front_power: Option<Dioptre>,
    /// The marked optical centre from the middle of the blank, towards the nose.
    pub off_in: Millimetre,
    /// The marked optical centre from the middle of the blank, upwards.
    pub off_up: Millimetre,
}
