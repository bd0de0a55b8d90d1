//! The shapes on file by their marks, and the search among them.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::mark::{Mark, Sought};
use super::{Match, Shape, Ways};

/// Shapes compared first, by the rough bound alone, so that something to beat is known.
const FIRST: usize = 24;
/// Shapes compared at once after that.
const AT_ONCE: usize = 12;

/// The marks of many shapes, in the order they were added.
#[derive(Debug, Default)]
pub struct Index {
    sizes: Vec<[u16; 13]>,
    marks: Vec<Mark>,
}

/// A shape that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Twin {
    /// Which one, as counted by [`Index::push`].
    pub index: usize,
    /// How far it is apart.
    pub found: Match,
}

impl Twin {
    /// The smaller gap is better, to the thousandth of a millimeter; of equal ones, the newer.
    fn rank(&self) -> Rank {
        Rank((self.found.gap_mm * 1000.0).round() as u32, Reverse(self.index))
    }
}

/// How good a shape is, or can be at best.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Rank(u32, Reverse<usize>);

impl Rank {
    /// The best that a shape can be whose gap is at least this.
    fn at_best(bound_mm: f64, index: usize) -> Self {
        // A whole number of thousandths, rounded down.
        Rank((bound_mm.max(0.0) * 1000.0) as u32, Reverse(index))
    }
}

impl Index {
    /// Adds a shape; its number counts from 0.
    pub fn push(&mut self, shape: &Shape) -> usize {
        let mark = Mark::of(shape);
        self.sizes.push(mark.sizes);
        self.marks.push(mark);
        self.marks.len() - 1
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
        let sought = Sought::new(&shape, ways);
        let rough_mm = self.sizes.iter().map(|sizes| sought.rough_bound_mm(sizes)).collect();
        let (best, compared) = (Vec::with_capacity(most + 1), Vec::new());
        let (most, within_mm) = (most.max(1), f64::INFINITY);
        Search { index: self, shape, ways, most, within_mm, sought, rough_mm, compared, best, possible: None }
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
    sought: Sought,
    rough_mm: Vec<f32>,
    compared: Vec<usize>,
    best: Vec<Twin>,
    /// The shapes that may still be better, the best bound first; `None` before the first were compared.
    possible: Option<BinaryHeap<Reverse<Possible>>>,
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

    /// The shapes to compare next; none when all that can count were compared.
    pub fn wanted(&mut self) -> Vec<usize> {
        let Some(mut possible) = self.possible.take() else {
            let first = self.roughly_nearest();
            if first.iter().all(|index| self.compared.contains(index)) {
                self.possible = Some(self.roughly_possible());
                return if first.is_empty() { first } else { self.wanted() };
            }
            return first;
        };
        let (worst, worst_mm) = (self.worst(), self.worst_mm());
        let mut next = Vec::new();
        while let Some(Reverse(Possible { rank, bound })) = possible.pop() {
            if rank > worst {
                possible.clear();
                break;
            }
            let Rank(_, Reverse(index)) = rank;
            let mark = &self.index.marks[index];
            let closer = match bound {
                Bound::Rough => Some((self.sought.waves_bound_mm(mark), Bound::Waves)),
                Bound::Waves => {
                    self.sought.supports_bound_mm(mark, worst_mm).map(|bound_mm| (bound_mm, Bound::Supports))
                }
                Bound::Supports => {
                    next.push(index);
                    None
                }
            };
            if let Some((bound_mm, bound)) = closer {
                possible.push(Reverse(Possible { rank: rank.max(Rank::at_best(bound_mm, index)), bound }));
            }
            if next.len() == AT_ONCE {
                break;
            }
        }
        self.possible = Some(possible);
        next
    }

    /// Compares one of the shapes wanted.
    pub fn compare(&mut self, index: usize, shape: &Shape) {
        self.compared.push(index);
        let twin = Twin { index, found: self.shape.distance(shape, self.ways) };
        let place = self.best.partition_point(|better| better.rank() < twin.rank());
        self.best.insert(place, twin);
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

    /// What a shape must not exceed.
    fn worst(&self) -> Rank {
        let farthest = Rank((self.within_mm * 1000.0).ceil() as u32, Reverse(0));
        self.best.get(self.most - 1).map_or(farthest, |twin| twin.rank().min(farthest))
    }

    fn roughly_nearest(&self) -> Vec<usize> {
        let is_near = |&index: &usize| f64::from(self.rough_mm[index]) <= self.within_mm;
        let mut order: Vec<usize> = (0..self.index.len()).filter(is_near).collect();
        let key = |&index: &usize| Rank::at_best(f64::from(self.rough_mm[index]), index);
        let count = FIRST.max(self.most);
        if order.len() > count {
            order.select_nth_unstable_by_key(count, key);
            order.truncate(count);
        }
        order.sort_unstable_by_key(key);
        order
    }

    /// The gap that a shape must not exceed.
    fn worst_mm(&self) -> f64 {
        self.best.get(self.most - 1).map_or(self.within_mm, |twin| twin.found.gap_mm.min(self.within_mm)) + 0.001
    }

    fn roughly_possible(&self) -> BinaryHeap<Reverse<Possible>> {
        let worst_mm = self.worst_mm();
        let mut compared = self.compared.clone();
        compared.sort_unstable();
        let is_possible =
            |&index: &usize| f64::from(self.rough_mm[index]) <= worst_mm && compared.binary_search(&index).is_err();
        let possible =
            |index| Possible { rank: Rank::at_best(f64::from(self.rough_mm[index]), index), bound: Bound::Rough };
        (0..self.index.len()).filter(is_possible).map(|index| Reverse(possible(index))).collect()
    }
}
