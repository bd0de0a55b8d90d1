//! The shapes on file by their marks, and the search among them.

use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;
use std::ops::Range;

use super::mark::{Mark, Sizes, Sought};
use super::{Match, Shape, Ways};

/// Shapes looked at first, by the rough bound alone.
const FIRST_SEEN: usize = 192;
/// Those of them compared first, by the bound of the waves, so that something to beat is known.
const FIRST: usize = 12;
/// Shapes compared at once after that.
const AT_ONCE: usize = 12;
/// Gaps that differ by less are equal, mm, unless a search says otherwise.
const FINEST_STEP_MM: f64 = 0.001;

/// Shapes whose mean support differs by less are looked at together, in thousandths of a millimeter.
const BIN: u16 = 64;
const BINS: usize = u16::MAX as usize / BIN as usize + 1;
/// How far the mean supports of the shapes looked at first may differ, mm; doubled until enough are found.
const FIRST_REACH_MM: f64 = 0.1;

/// The marks of many shapes, in the order they were added, and their sizes by their mean support.
#[derive(Debug)]
pub struct Index {
    bins: Vec<Bin>,
    marks: Vec<Mark>,
}

/// Shapes with nearly the same mean support.
#[derive(Debug, Default)]
struct Bin {
    sizes: Vec<Sizes>,
    /// Whose they are.
    indices: Vec<u32>,
}

impl Default for Index {
    fn default() -> Self {
        Self { bins: (0..BINS).map(|_| Bin::default()).collect(), marks: Vec::new() }
    }
}

/// A shape that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Twin {
    /// Which one, as counted by [`Index::push`].
    pub index: usize,
    /// How far it is apart.
    pub found: Match,
}

/// A shape is not among the best.
struct TooFar;

/// How good a shape is, or can be at best: the smaller gap is better, in whole steps of the search, or of
/// [`FINEST_STEP_MM`] for a bound; of equal ones, the newer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Rank(u32, Reverse<usize>);

impl Index {
    /// Adds a shape; its number counts from 0.
    pub fn push(&mut self, shape: &Shape) -> usize {
        let (sizes, mark) = Mark::of(shape);
        let bin = &mut self.bins[usize::from(mark.mean / BIN)];
        bin.sizes.push(sizes);
        bin.indices.push(self.marks.len() as u32);
        self.marks.push(mark);
        self.marks.len() - 1
    }

    /// Makes room for as many more shapes.
    pub fn reserve(&mut self, more: usize) {
        self.marks.reserve(more);
    }

    /// How many shapes there are.
    pub fn len(&self) -> usize {
        self.marks.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.marks.is_empty()
    }

    /// Starts to look for the `most` shapes nearest to one.
    pub fn search(&self, shape: Shape, ways: Ways, most: usize) -> Search<'_> {
        Search {
            index: self,
            sought: Sought::new(&shape, ways),
            shape,
            ways,
            most: most.max(1),
            within_mm: f64::INFINITY,
            step_mm: FINEST_STEP_MM,
            seen_bins: 0..0,
            seen: Vec::new(),
            compared: Vec::new(),
            best: Vec::with_capacity(most + 1),
            part: SearchStage::Begun,
        }
    }

    /// The `most` shapes nearest to one, the best first; `shape` gives a shape of the index by its number.
    pub fn nearest(&self, sought: Shape, ways: Ways, most: usize, shape: impl Fn(usize) -> Shape) -> Vec<Twin> {
        let mut search = self.search(sought, ways, most);
        loop {
            let wanted = search.wanted();
            if wanted.is_empty() {
                return search.found();
            }
            for index in wanted {
                search.compare(index, &shape(index));
            }
        }
    }
}

/// A search under way: it names the shapes it must see, until it needs no more.
#[derive(Debug)]
pub struct Search<'a> {
    index: &'a Index,
    shape: Shape,
    ways: Ways,
    most: usize,
    /// Shapes farther apart do not count.
    within_mm: f64,
    /// Gaps in the same step are equal.
    step_mm: f64,
    sought: Sought,
    /// The bins whose shapes were looked at.
    seen_bins: Range<usize>,
    /// The shapes of these with their rough bounds, mm, as far as they count.
    seen: Vec<(f32, u32)>,
    compared: Vec<usize>,
    best: Vec<Twin>,
    part: SearchStage,
}

/// How far a search has come.
#[derive(Debug)]
enum SearchStage {
    /// Nothing was compared yet.
    Begun,
    /// The first shapes are being compared, so that something to beat is known.
    First,
    /// The shapes that may still be better, the best bound first.
    Possible(BinaryHeap<Reverse<Possible>>),
}

/// A shape that may be better than what is found, by the bound that is known of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Possible {
    rank: Rank,
    bound: Bound,
}

/// Which bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Bound {
    Rough,
    Waves,
    Supports,
}

impl Search<'_> {
    /// Looks for shapes no farther apart than this alone. Others may be found beside them where fewer are so near.
    pub fn within_mm(self, within_mm: f64) -> Self {
        Self { within_mm, ..self }
    }

    /// Takes gaps in the same step of so many millimeters as equal: of equal ones, those found first will do, the newer
    /// first. Without it, many traces of one frame would all be compared to tell hundredths of a millimeter that no tracer
    /// can tell.
    pub fn in_steps_of_mm(self, step_mm: f64) -> Self {
        Self { step_mm: step_mm.max(FINEST_STEP_MM), ..self }
    }

    /// The shapes to compare next; none when all that can count were compared.
    pub fn wanted(&mut self) -> Vec<usize> {
        let mut possible = match std::mem::replace(&mut self.part, SearchStage::First) {
            SearchStage::Begun => match self.roughly_nearest() {
                first if first.is_empty() => BinaryHeap::new(),
                first => return first,
            },
            SearchStage::First => self.roughly_possible(),
            SearchStage::Possible(possible) => possible,
        };
        let worst_mm = self.worst_mm();
        let mut next = Vec::new();
        while let Some(Reverse(Possible { rank, bound })) = possible.pop() {
            if self.is_no_better(rank) {
                possible.clear();
                break;
            }
            let Rank(_, Reverse(index)) = rank;
            let mark = &self.index.marks[index];
            let closer = match bound {
                Bound::Rough => Some((self.sought.waves_bound_mm(mark, worst_mm), Bound::Waves)),
                Bound::Waves => {
                    self.sought.supports_bound_mm(mark, worst_mm).map(|bound_mm| (bound_mm, Bound::Supports))
                }
                Bound::Supports => {
                    next.push(index);
                    None
                }
            };
            if let Some((bound_mm, bound)) = closer {
                possible.push(Reverse(Possible { rank: rank.max(bound_rank(bound_mm, index)), bound }));
            }
            if next.len() == AT_ONCE {
                break;
            }
        }
        self.part = SearchStage::Possible(possible);
        next
    }

    /// Compares one of the shapes wanted, in the ways it can lie that are not ruled out.
    pub fn compare(&mut self, index: usize, shape: &Shape) {
        self.compared.push(index);
        // A way is ruled out only where there is something to beat, and another way to lie.
        let possible = match self.ways.mirrored && self.best.len() == self.most {
            true => self.sought.possible_ways(&self.index.marks[index], self.worst_mm()),
            false => [true, self.ways.mirrored],
        };
        let ways = possible.into_iter().zip([false, true]).filter(|(is_possible, _)| *is_possible);
        let most_mm = self.worst_mm();
        let judge = |gap_mm: f64| if gap_mm > most_mm { Err(TooFar) } else { Ok(()) };
        let found = ways
            .filter_map(|(_, is_mirrored)| {
                self.shape.distance_one_way(shape, is_mirrored, self.ways.any_size, judge).ok()
            })
            .reduce(Match::or_nearer);
        let Some(found) = found else { return };
        let rank = self.rank(found.gap_mm, index);
        let place = self.best.partition_point(|better| self.rank_of(better) < rank);
        self.best.insert(place, Twin { index, found });
        self.best.truncate(self.most);
    }

    /// How many shapes were compared.
    pub fn compared(&self) -> usize {
        self.compared.len()
    }

    /// The shapes found, the best first.
    pub fn found(self) -> Vec<Twin> {
        self.best
    }

    /// How good a shape is with a gap.
    fn rank(&self, gap_mm: f64, index: usize) -> Rank {
        Rank(steps(gap_mm, self.step_mm), Reverse(index))
    }

    /// Whether a shape with such a bound cannot come among the best.
    fn is_no_better(&self, Rank(bound, index): Rank) -> bool {
        let Rank(worst, worst_index) = self.worst();
        match steps(f64::from(bound) * FINEST_STEP_MM, self.step_mm).cmp(&worst) {
            Ordering::Less => false,
            Ordering::Equal => self.is_any_equal_good() || index > worst_index,
            Ordering::Greater => true,
        }
    }

    /// Whether enough are found, so that another one of the worst step is not worth a look.
    fn is_any_equal_good(&self) -> bool {
        self.step_mm > FINEST_STEP_MM && self.best.len() == self.most
    }

    fn rank_of(&self, twin: &Twin) -> Rank {
        self.rank(twin.found.gap_mm, twin.index)
    }

    /// What a shape must not exceed.
    fn worst(&self) -> Rank {
        let farthest = self.rank(self.within_mm, 0);
        self.best.get(self.most - 1).map_or(farthest, |twin| self.rank_of(twin).min(farthest))
    }

    /// Looks at all shapes whose rough bound may be no more than this.
    fn see_up_to_mm(&mut self, bound_mm: f64) {
        let wanted = match self.sought.reach_mm(bound_mm) {
            Some(reach_mm) => {
                let bin = |mm: f64| (mm * 1000.0 / f64::from(BIN)).clamp(0.0, BINS as f64 - 1.0) as usize;
                let mean_mm = self.sought.mean_mm();
                bin(mean_mm - reach_mm)..bin(mean_mm + reach_mm) + 1
            }
            None => 0..BINS,
        };
        let before = self.seen_bins.clone();
        // Both lie around the same mean, so nothing is between them.
        self.seen_bins = match before.is_empty() {
            true => wanted,
            false => before.start.min(wanted.start)..before.end.max(wanted.end),
        };
        for bin in self.seen_bins.clone().filter(|bin| !before.contains(bin)).map(|bin| &self.index.bins[bin]) {
            let rough = bin.sizes.iter().map(|sizes| self.sought.rough_bound_mm(sizes));
            let within = |&(rough_mm, _): &(f32, u32)| f64::from(rough_mm) <= self.within_mm;
            self.seen.extend(rough.zip(bin.indices.iter().copied()).filter(within));
        }
    }

    fn roughly_nearest(&mut self) -> Vec<usize> {
        let enough = FIRST_SEEN.max(self.most);
        let mut bound_mm = FIRST_REACH_MM.min(self.within_mm);
        self.see_up_to_mm(bound_mm);
        let is_near = |bound_mm: f64| move |&&(rough_mm, _): &&(f32, u32)| f64::from(rough_mm) <= bound_mm;
        while self.seen.iter().filter(is_near(bound_mm)).count() < enough
            && self.seen_bins != (0..BINS)
            && bound_mm < self.within_mm
        {
            bound_mm = (bound_mm * 2.0).min(self.within_mm);
            self.see_up_to_mm(bound_mm);
        }
        let mut order: Vec<(f32, usize)> = self.seen.iter().map(|&(mm, index)| (mm, index as usize)).collect();
        keep_least(&mut order, enough, |&(mm, index)| bound_rank(f64::from(mm), index));
        let waves_mm = |index: usize| self.sought.waves_bound_mm(&self.index.marks[index], f64::INFINITY);
        let mut closer: Vec<(Rank, usize)> =
            order.into_iter().map(|(_, index)| (bound_rank(waves_mm(index), index), index)).collect();
        keep_least(&mut closer, FIRST.max(self.most), |(rank, _)| *rank);
        closer.sort_unstable();
        closer.into_iter().map(|(_, index)| index).collect()
    }

    /// The gap that a shape must not exceed.
    fn worst_mm(&self) -> f64 {
        let Rank(steps, _) = self.worst();
        let steps = if self.is_any_equal_good() { f64::from(steps) } else { f64::from(steps) + 1.0 };
        steps * self.step_mm
    }

    fn roughly_possible(&mut self) -> BinaryHeap<Reverse<Possible>> {
        let worst_mm = self.worst_mm();
        self.see_up_to_mm(worst_mm);
        let mut compared = self.compared.clone();
        compared.sort_unstable();
        self.seen
            .iter()
            .map(|&(mm, index)| (f64::from(mm), index as usize))
            .filter(|(mm, index)| *mm <= worst_mm && compared.binary_search(index).is_err())
            .map(|(mm, index)| Reverse(Possible { rank: bound_rank(mm, index), bound: Bound::Rough }))
            .collect()
    }
}

/// Whole steps, rounded down.
fn steps(gap_mm: f64, step_mm: f64) -> u32 {
    (gap_mm.max(0.0) / step_mm) as u32
}

/// How good a shape can be at best with a gap that is at least this. The most promising comes first, however long the
/// steps of a search are.
fn bound_rank(bound_mm: f64, index: usize) -> Rank {
    Rank(steps(bound_mm, FINEST_STEP_MM), Reverse(index))
}

/// Leaves the `count` least, in any order.
fn keep_least<T, K: Ord>(list: &mut Vec<T>, count: usize, key: impl Fn(&T) -> K) {
    if list.len() > count {
        list.select_nth_unstable_by_key(count, key);
        list.truncate(count);
    }
}
