//! Traced outlines: the boxing system, the layout of a lens in its box, edge and bevel, and interchange records.
//! Pure: of this crate it imports only [`crate::optics`].
//!
//! # Frame of reference
//!
//! The front view of [`crate::optics`]: +x to the observer's right, +y up, the wearer's right eye on the
//! observer's left. An [`outline::Outline`] is a closed polygon wound counter-clockwise whose origin is the
//! **boxing center** (ISO 8624): not the centroid, not the tracer's own origin. The right eye's nose side is +x,
//! the left eye's is -x.
//!
//! # Files
//!
//! * [`trace`] – a tracer's radii for one eye, exact hundredths, as stored.
//! * [`outline`] – the closed polygon used for computing; points and their checks.
//! * [`boxing`] – A, B, ED, circumference and area.
//! * [`spline`] – the smooth curve through few points; radii in other directions. [`smooth`] – takes out the tremble.
//! * [`perimeter`] – places along an outline. [`nearest`] – the distance from a point to it. `calm` – a line without the zigzag of
//!   rounded points.
//! * [`corner`] – the tightest corner and hollow. [`rim`] – length, curve and tilt of a rim in space.
//! * [`hole`] – the holes of a drilled mount. `hull` – the convex hull.
//! * [`transform`] – mirror, rotate, resize, offset.
//! * [`disagreement`] – differences between the right and left rim of one frame.
//! * [`layout`] – decentration, frame PD, the pupil in the box.
//! * [`blocker`] – the blocker's setting, the remaining nudge, and the prism of not nudging.
//! * [`blank`] – the minimum blank size and the material to spare around the outline.
//! * [`cutout`] – whether the shape can be cut from a given blank; prism by decentration.
//! * [`drawing`] – outlines from SVG and DXF drawings and lists of points. [`bytes`] – what the first bytes of a file tell.
//! * [`edge`] – edge thickness along the outline; the center thickness for a wanted edge.
//! * [`volume`] – volume and weight of the cut lens.
//! * [`bevel`] – the line of a bevel or groove along the edge, and its warnings.
//! * [`compare`] – the same order in several materials.
//! * [`twins`] – which shapes on file look like this one.
//! * [`record`] – reads and writes trace files (ISO 16284 text) and plain tables of radii.
//! * [`points_csv`], [`dxf`] – outlines as a table of points and as a drawing.
//! * [`wire`] – the session of the same records with a tracer, blocker or edger.
//! * [`svg`] – outlines as SVG path data in true millimeters.
#![deny(missing_docs)]

pub mod bevel;
pub mod blank;
pub mod blocker;
pub mod boxing;
pub mod bytes;
mod calm;
pub mod compare;
pub mod corner;
pub mod cutout;
pub mod disagreement;
pub mod drawing;
pub mod dxf;
pub mod edge;
pub mod hole;
pub(crate) mod hull;
pub mod layout;
pub mod nearest;
pub mod outline;
pub mod perimeter;
pub mod points_csv;
pub mod record;
pub mod rim;
pub mod smooth;
pub mod spline;
pub mod svg;
pub mod thickness;
pub mod trace;
pub mod transform;
pub mod twins;
pub mod volume;
pub mod wire;
