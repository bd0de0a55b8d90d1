//! A blurred step with a blurred step back behind it, and its fit to a course of brightness by least squares.

use nalgebra::{SMatrix, SVector};

use super::rows::{BrightnessProfile, Reach, Rows, window};

/// The least width of the dark line, as a multiple of the blur.
const LEAST_LINE: f64 = 0.7;
/// Steps of a fit at most.
const TURNS: usize = 25;
/// How much the width of the dark line changes around a lens, as a part of it (one standard deviation).
const LINE_CHANGE: f64 = 0.15;
/// A step back of more than this part of the first step belongs to something else.
const MOST_BACK: f64 = 2.5;
/// One of less is none.
const LEAST_BACK: f64 = 0.12;
/// What no model explains, levels: rounding, and that no blur is exactly normal.
pub(super) const UNEXPLAINED: f64 = 0.15;
/// The edge is not farther from the line than this, as a multiple of the blur.
pub(super) const MOST_SHIFT: f64 = 2.5;

/// The slopes of the light that are expected beside an edge and how much they change, as parts of its step for each pixel.
#[derive(Clone, Copy)]
pub(super) struct Beside {
    pub outer: f64,
    pub inner: f64,
    pub change: [f64; 2],
    /// The usual width of the dark line, if it is known.
    pub line: Option<f64>,
}

/// A blurred step with a blurred step back behind it. Lengths in pixels, along the normal, outward.
#[derive(Debug, Clone, Copy)]
pub(super) struct EdgeStep {
    pub edge: f64,
    /// How far behind the edge the step back is.
    pub line: f64,
    /// The spread of its blur.
    pub blur: f64,
    /// The level between the steps; the height and the slope of the outer side and of the inner one.
    pub sizes: SVector<f64, 5>,
    /// The sum of the squares that it does not explain.
    pub off: f64,
}

impl EdgeStep {
    /// Its height, levels.
    pub fn height(&self) -> f64 {
        self.sizes[1]
    }

    pub fn at(&self, x: f64) -> f64 {
        SVector::from(parts(x - self.edge, self.line, self.blur)).dot(&self.sizes)
    }

    pub fn slope_at(&self, x: f64) -> f64 {
        SVector::from(slopes(x - self.edge, self.line, self.blur)).dot(&self.sizes)
    }
}

/// The share of a normal distribution below a place. Source: Abramowitz and Stegun, 26.2.17 (error below 1e-7).
fn below(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.231_641_9 * x.abs());
    let sum =
        t * (0.319_381_530 + t * (-0.356_563_782 + t * (1.781_477_937 + t * (-1.821_255_978 + t * 1.330_274_429))));
    let above = density(x) * sum;
    if x > 0.0 { 1.0 - above } else { above }
}

fn density(x: f64) -> f64 {
    0.398_942_280_401_432_7 * (-x * x / 2.0).exp()
}

/// A level, the outer step and slope, and the inner step and slope, blurred.
fn parts(x: f64, line: f64, blur: f64) -> [f64; 5] {
    let (out, inn) = (x / blur, -(x + line) / blur);
    let ramp = |x: f64| blur * (x * below(x) + density(x));
    [1.0, below(out), ramp(out), below(inn), ramp(inn)]
}

fn slopes(x: f64, line: f64, blur: f64) -> [f64; 5] {
    let (out, inn) = (x / blur, -(x + line) / blur);
    [0.0, density(out) / blur, below(out), -density(inn) / blur, -below(inn)]
}

/// The step of this blur that explains a profile best, looked for from a place and a width of the dark line. `None` if it goes
/// down outward.
pub(super) fn fit(
    rows: &Rows,
    profile: &BrightnessProfile,
    look: (Reach, Beside),
    edge: f64,
    line: f64,
    blur: f64,
) -> Option<EdgeStep> {
    let start = EdgeStep { edge, line, blur, sizes: SVector::zeros(), off: 0.0 };
    let lined = if line > 0.0 { settled(rows, profile, look, start) } else { None };
    // No step back: once more, with the inner slope from the edge on.
    let step = lined.or_else(|| settled(rows, profile, look, EdgeStep { line: 0.0, ..start }))?;
    (step.sizes[1] > 0.0 && step.edge.abs() < MOST_SHIFT * blur.max(1.0)).then_some(step)
}

/// Moves the edge and the far side of the dark line until both stay (Gauss and Newton). A line of no width is none, and
/// stays so. `None` where the step back is none, or that of something else; a part of a line is like the whole one.
fn settled(
    rows: &Rows,
    profile: &BrightnessProfile,
    (reach, beside): (Reach, Beside),
    start: EdgeStep,
) -> Option<EdgeStep> {
    let mut step = start;
    let blur = step.blur;
    let is_alone = step.line == 0.0;
    let (mut is_near, mut is_last) = (false, false);
    for turn in 0..TURNS {
        let mut sums = Sums::of(rows, profile, reach, &step);
        sums.expect_beside(&step, beside, profile.noise.hypot(UNEXPLAINED));
        if turn + 1 == TURNS || is_near {
            // The last turn stays where it is.
            sums.hold([5, 6]);
        }
        let mut sizes = if is_alone { sums.without([3, 6]).solved()? } else { sums.solved()? };
        let is_back = (LEAST_BACK..MOST_BACK).contains(&(sizes[3] / sizes[1]));
        if !is_alone && !is_back && beside.line.is_none() {
            return None;
        }
        if turn > 0 {
            let (shift, wider) = (sizes[5].clamp(-blur, blur), sizes[6].clamp(-blur, blur));
            step.edge += shift;
            if !is_alone {
                step.line = (step.line + wider).clamp(LEAST_LINE * blur, reach.0 + blur);
            }
            is_last = is_near;
            is_near = shift.abs() < 0.003 && wider.abs() < 0.01;
        }
        // What is left where the last turn looked.
        (sizes[5], sizes[6]) = (0.0, 0.0);
        step.off = sums.off(&sizes);
        step.sizes = sizes.fixed_rows::<5>(0).into();
        if is_last {
            break;
        }
    }
    Some(step)
}

/// The sums of a fit by least squares: of the five sizes, and of how far the edge and the width of the dark line change.
struct Sums {
    squares: SMatrix<f64, 7, 7>,
    products: SVector<f64, 7>,
    sum: f64,
}

impl Sums {
    fn of(rows: &Rows, profile: &BrightnessProfile, reach: Reach, step: &EdgeStep) -> Self {
        let (squares, products) = (SMatrix::zeros(), SVector::zeros());
        let mut sums = Self { squares, products, sum: 0.0 };
        for sample in window(rows, reach) {
            let x = rows.offset_px(sample);
            let [a, b, c, d, e] = parts(x - step.edge, step.line, step.blur);
            let change = slopes(x - step.edge, step.line, step.blur);
            let inner = step.sizes[3] * change[3] + step.sizes[4] * change[4];
            let all = step.sizes[1] * change[1] + step.sizes[2] * change[2] + inner;
            let column = SVector::<f64, 7>::from([a, b, c, d, e, -all, inner]);
            sums.squares += column * column.transpose();
            sums.products += column * profile.values[sample];
            sums.sum += profile.values[sample] * profile.values[sample];
        }
        sums
    }

    /// One of the unknowns is usually so much, and the more surely the larger `sure` is.
    fn expect(&mut self, at: usize, usual: f64, sure: f64) {
        self.squares[(at, at)] += sure;
        self.products[at] += sure * usual;
        self.sum += sure * usual * usual;
    }

    /// What is expected beside the edge, where a sample is known within `unsure` levels.
    fn expect_beside(&mut self, step: &EdgeStep, beside: Beside, unsure: f64) {
        let height = step.sizes[1].abs().max(10.0);
        let [outer, inner] = beside.change.map(|change| (unsure / (change * height)).powi(2));
        self.expect(2, beside.outer * height, outer);
        self.expect(4, beside.inner * height, inner);
        match beside.line {
            Some(usual) if usual > 0.0 => self.expect(6, usual - step.line, (unsure / (LINE_CHANGE * usual)).powi(2)),
            _ => self.expect(6, 0.0, 1e-3),
        }
        self.expect(5, 0.0, 1e-3);
    }

    fn hold(&mut self, unknowns: [usize; 2]) {
        unknowns.into_iter().for_each(|at| self.squares[(at, at)] += 1e12);
    }

    /// The same with two of the unknowns nothing.
    fn without(&self, unknowns: [usize; 2]) -> Self {
        let (mut squares, mut products) = (self.squares, self.products);
        for at in unknowns {
            (0..7).for_each(|i| (squares[(at, i)], squares[(i, at)]) = (0.0, 0.0));
            squares[(at, at)] = 1.0;
            products[at] = 0.0;
        }
        Self { squares, products, sum: self.sum }
    }

    fn solved(&self) -> Option<SVector<f64, 7>> {
        Some(self.squares.cholesky()?.solve(&self.products))
    }

    /// What these sizes leave: the sum of the squares.
    fn off(&self, sizes: &SVector<f64, 7>) -> f64 {
        self.sum - 2.0 * sizes.dot(&self.products) + sizes.dot(&(self.squares * sizes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: tables of the normal distribution.
    #[test]
    fn the_normal_distribution_is_that_of_the_tables() {
        for (x, want) in [(0.0, 0.5), (1.0, 0.841_344_7), (-1.96, 0.024_997_9), (3.0, 0.998_650_1)] {
            assert!((below(x) - want).abs() < 1e-6, "{x}: {}", below(x));
        }
    }
}
