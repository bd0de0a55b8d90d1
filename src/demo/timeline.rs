//! When the jobs of the large demonstration were ordered. A frame is ordered once and gets new lenses three times.

use super::invent::{DrawPurpose, below};

/// Jobs in one frame.
pub const JOBS_IN_A_FRAME: u64 = 4;

/// Days between two orders for one frame, where there is room for them.
const LEAST_GAP: u64 = 400;
const GAP_SPREAD: u64 = 700;

/// Days that are left for each further order, so that the earlier job is sent by then.
const ROOM: u64 = 90;

/// One order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slot {
    /// Days from the first day.
    pub day: u32,
    /// Which frame of which wearer.
    pub family: u32,
    /// First order, or first, second, ... new lenses.
    pub member: u8,
}

/// `jobs` orders within `span` days, in the order of time.
pub fn orders(jobs: u64, span: u64) -> Vec<Slot> {
    let mut slots: Vec<Slot> = (0..jobs.div_ceil(JOBS_IN_A_FRAME))
        .flat_map(|family| {
            let days = days_of(family, span.max(2 * ROOM * JOBS_IN_A_FRAME));
            (0u8..).zip(days).map(move |(member, day)| Slot { day: day as u32, family: family as u32, member })
        })
        .take(jobs as usize)
        .collect();
    slots.sort_unstable();
    slots
}

/// The days of one frame: one of them falls anywhere, the others a year or three before and after, nearer where the
/// span ends.
fn days_of(family: u64, span: u64) -> [u64; JOBS_IN_A_FRAME as usize] {
    let last = JOBS_IN_A_FRAME - 1;
    let fixed = below(DrawPurpose::Gap, family, JOBS_IN_A_FRAME);
    let day = fixed * ROOM + below(DrawPurpose::Day, family, span - last * ROOM);
    let gap = LEAST_GAP + below(DrawPurpose::Gap, family + (1 << 40), GAP_SPREAD);
    std::array::from_fn(|member| {
        let member = member as u64;
        match member.checked_sub(fixed) {
            Some(0) => day,
            Some(after) => day + after * gap.min((span - 1 - day) / (last - fixed)),
            None => day - (fixed - member) * gap.min(day / fixed),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_frame_is_ordered_before_its_new_lenses() {
        for span in [720, 3000, 14_600] {
            let slots = orders(4001, span);
            assert_eq!(slots.len(), 4001);
            assert!(slots.iter().all(|slot| u64::from(slot.day) < span), "{span}");
            let mut last = std::collections::HashMap::new();
            for slot in &slots {
                let before = last.insert(slot.family, *slot);
                assert_eq!(before.map_or(0, |b| b.member + 1), slot.member, "{slot:?}");
                assert!(before.is_none_or(|b| slot.day >= b.day + ROOM as u32 / 2), "{before:?} {slot:?}");
            }
        }
    }
}
