//! The values a lens is made from, and the reasons why some values make no lens.

use thiserror::Error;

use crate::optics::power::SphereCylinder;
use crate::optics::prism::BaseVector;

/// The largest center thickness accepted for a spectacle lens.
pub const MAX_CENTER_MM: f64 = 60.0;
/// The strongest front accepted for a spectacle lens.
pub const MAX_FRONT_D: f64 = 40.0;
/// The strongest principal power accepted.
pub const MAX_POWER_D: f64 = 40.0;
/// The strongest prism accepted in one lens.
pub const MAX_PRISM_PD: f64 = 30.0;

/// Why an order makes no lens.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LensError {
    /// An index that no lens material has.
    #[error("An index of {0} is outside 1.4 to 2.0")]
    Index(f64),
    /// A front power that is not a number or beyond [`MAX_FRONT_D`].
    #[error("A front of {0} D is outside -40 to +40 D")]
    FrontPower(f64),
    /// A conic constant that is not a number.
    #[error("A conic constant of {0} is outside -100 to 100")]
    ConicConstant(f64),
    /// A power that is not a number or beyond 40 D.
    #[error("A power of {0} D is outside -40 to +40 D")]
    Power(f64),
    /// A prism beyond [`MAX_PRISM_PD`].
    #[error("A prism of {0:.2} is more than one lens takes (30)")]
    Prism(f64),
    /// A center that is not positive or beyond [`MAX_CENTER_MM`].
    #[error("A center thickness of {0:.2} mm is not between 0 and 60 mm")]
    CenterThickness(f64),
    /// A wanted edge thickness that is not a number from 0 to 20.
    #[error("An edge thickness of {0:.2} mm is not between 0 and 20 mm")]
    EdgeThickness(f64),
    /// The wanted edge leaves no center thickness.
    #[error(
        "A thinnest edge of {edge_mm:.2} mm would leave a center of {center_mm:.2} mm: state the center thickness instead"
    )]
    NoCenterLeft {
        /// The wanted thinnest edge.
        edge_mm: f64,
        /// The center it would leave.
        center_mm: f64,
    },
    /// A surface that is too steep to reach as far as the shape or the blank does.
    #[error(
        "The {surface} surface of {power_d:+.2} D has a radius of {radius_mm:.2} mm and does not reach \
         {needed_mm:.2} mm from the optical center: no lens of this size has it"
    )]
    DoesNotSpan {
        /// `front` or `back`.
        surface: &'static str,
        /// Its steepest power.
        power_d: f64,
        /// Its shortest radius of curvature.
        radius_mm: f64,
        /// How far from the optical center it has to reach.
        needed_mm: f64,
    },
    /// A ray that meets no surface or does not come out.
    #[error("No ray leaves the lens at {x_mm:.2} mm across and {y_mm:.2} mm up from its optical center")]
    NoRay {
        /// Where it should leave, to the observer's right.
        x_mm: f64,
        /// Where it should leave, up.
        y_mm: f64,
    },
}

/// The values a lens is made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensOrder {
    /// Back vertex power.
    pub power: SphereCylinder,
    /// The prescribed prism.
    pub prism: BaseVector,
    /// Refractive index, 1.4 to 2.0.
    pub index: f64,
    /// True power of the front at its vertex, in the lens's own index.
    pub front_power_d: f64,
    /// Conic constant of the front; 0 is a sphere.
    pub front_conic: f64,
    /// Thickness at the optical axis.
    pub center_thickness_mm: f64,
}
