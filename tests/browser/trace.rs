//! A trace file and its figures, worked out here from its text alone, so that the pages are compared with something that
//! is not Rimbook.
//!
//! Sources: the boxing system (box, boxing center, DBL) and the smallest blank as the circle about the optical center that
//! holds the outline: college opticianry course.

use std::path::PathBuf;

/// A traced pair of the demonstration data.
pub struct TracedPair {
    /// The file.
    pub path: PathBuf,
    /// Its own DBL.
    pub dbl_mm: f64,
    /// Right, then left, seen from the front.
    pub eyes: [Outline; 2],
}

/// The points of one eye about its boxing center, in mm.
pub struct Outline {
    points: Vec<(f64, f64)>,
    /// Box width.
    pub a_mm: f64,
    /// Box height.
    pub b_mm: f64,
}

impl TracedPair {
    /// A file of equal angles that gives both eyes.
    pub fn read(file: &str) -> Self {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-data/shapes").join(file);
        let text = std::fs::read_to_string(&path).unwrap();
        let mut radii: Vec<Vec<f64>> = Vec::new();
        let mut dbl_mm = 0.0;
        for line in text.lines() {
            match line.split_once('=') {
                Some(("DBL", value)) => dbl_mm = value.parse().unwrap(),
                Some(("TRCFMT", format)) => {
                    assert_eq!(format.split(';').nth(2), Some("E"), "equal angles");
                    assert_eq!(format.split(';').nth(3), Some(["R", "L"][radii.len()]));
                    radii.push(Vec::new());
                }
                Some(("R", values)) => {
                    let hundredths = values.split(';').map(|v| v.trim().parse::<f64>().unwrap() / 100.0);
                    radii.last_mut().unwrap().extend(hundredths);
                }
                _ => {}
            }
        }
        let [right, left] = <[Vec<f64>; 2]>::try_from(radii).unwrap();
        Self { path, dbl_mm, eyes: [Outline::new(&right), Outline::new(&left)] }
    }

    /// Widths of both boxes halved, and the bridge.
    pub fn frame_pd_mm(&self) -> f64 {
        (self.eyes[0].a_mm + self.eyes[1].a_mm) / 2.0 + self.dbl_mm
    }
}

impl Outline {
    /// An outline of radii at equal angles, mm.
    pub fn new(radii: &[f64]) -> Self {
        let step = std::f64::consts::TAU / radii.len() as f64;
        let raw: Vec<(f64, f64)> =
            radii.iter().enumerate().map(|(i, r)| (r * (step * i as f64).cos(), r * (step * i as f64).sin())).collect();
        let span = |of: fn(&(f64, f64)) -> f64| {
            raw.iter().map(of).fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)))
        };
        let (x, y) = (span(|p| p.0), span(|p| p.1));
        let middle = ((x.0 + x.1) / 2.0, (y.0 + y.1) / 2.0);
        let points = raw.iter().map(|p| (p.0 - middle.0, p.1 - middle.1)).collect();
        Self { points, a_mm: x.1 - x.0, b_mm: y.1 - y.0 }
    }

    /// The blank that covers the outline about an optical center `x_mm` to the viewer's right of the boxing center.
    pub fn smallest_blank_mm(&self, x_mm: f64, up_mm: f64) -> f64 {
        self.points.iter().map(|p| 2.0 * (p.0 - x_mm).hypot(p.1 - up_mm)).fold(0.0, f64::max)
    }
}
