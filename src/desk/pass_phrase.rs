//! The pass phrase that screens ask for, and the names that screens give themselves: what may be typed.

use time::{Duration, OffsetDateTime};

use super::text::{self, TextError};

/// The fewest characters of a pass phrase: some four words. Source: NIST SP 800-63B asks for at least 8, and for 15 where it
/// is the only thing asked for (from memory); wrong tries are slowed down here besides.
pub const FEWEST: usize = 15;
/// The most, so that nobody can keep the program busy with a novel.
pub const MOST: usize = 200;
/// The most characters of the name of a screen.
pub const MOST_NAME: usize = 40;
/// How long a screen may be left alone, in minutes, before it has to ask again.
pub const IDLE_MINUTES: std::ops::RangeInclusive<i64> = 1..=1440;

/// A new pass phrase.
///
/// # Errors
///
/// A sentence.
pub fn read_new(phrase: &str) -> Result<String, String> {
    match phrase.chars().count() {
        0 => Err("A pass phrase is needed".to_owned()),
        1..FEWEST => Err(format!("A pass phrase has at least {FEWEST} characters: use four or five words")),
        FEWEST..=MOST if is_monotonous(phrase) => Err("That is too easy to guess: use four or five words".to_owned()),
        FEWEST..=MOST => Ok(phrase.to_owned()),
        _ => Err(format!("A pass phrase has at most {MOST} characters")),
    }
}

/// Fewer than five different characters.
fn is_monotonous(phrase: &str) -> bool {
    phrase.chars().collect::<std::collections::BTreeSet<_>>().len() < 5
}

/// The name of a screen, such as `Edger tablet`.
///
/// # Errors
///
/// A sentence.
pub fn read_name(typed: &str) -> Result<String, TextError> {
    text::needed("A name for this screen", typed, MOST_NAME)
}

/// Minutes that a screen may be left alone.
///
/// # Errors
///
/// A sentence.
pub fn read_idle_minutes(typed: &str) -> Result<i64, String> {
    match typed.trim().parse() {
        Ok(minutes) if IDLE_MINUTES.contains(&minutes) => Ok(minutes),
        _ => Err(format!("Minutes are a whole number from {} to {}", IDLE_MINUTES.start(), IDLE_MINUTES.end())),
    }
}

/// Wrong tries that are free: everybody mistypes.
const FREE: u32 = 3;
/// The longest wait after another one.
const LONGEST: Duration = Duration::minutes(5);
/// So many places are remembered; the one that may try again soonest is forgotten first.
const PLACES: usize = 1000;

/// Wrong tries by the number of the place they come from: each makes the next wait twice as long.
#[derive(Debug, Clone, Default)]
pub struct WrongTries {
    places: Vec<PlaceTries>,
}

#[derive(Debug, Clone)]
struct PlaceTries {
    from: u128,
    wrong: u32,
    next_at: OffsetDateTime,
}

impl WrongTries {
    /// How long a place has to wait before it may try. None: now. The try is counted as wrong until it is known to be right,
    /// so that many at one time are many tries.
    pub fn begin(&mut self, from: u128, now: OffsetDateTime) -> Option<Duration> {
        let known = self.places.iter().position(|place| place.from == from);
        let index = known.unwrap_or_else(|| {
            self.make_room();
            self.places.push(PlaceTries { from, wrong: 0, next_at: now });
            self.places.len() - 1
        });
        let place = &mut self.places[index];
        // A clock that was put back makes nobody wait for longer than the longest wait.
        let wait = (place.next_at - now).min(LONGEST);
        if wait > Duration::ZERO {
            return Some(wait);
        }
        place.wrong += 1;
        let doubled = place.wrong.saturating_sub(FREE).min(20);
        let pause = if doubled == 0 { Duration::ZERO } else { Duration::seconds(1 << doubled).min(LONGEST) };
        place.next_at = now + pause;
        None
    }

    /// The try was right: the place begins anew.
    pub fn was_right(&mut self, from: u128) {
        self.places.retain(|place| place.from != from);
    }

    fn make_room(&mut self) {
        if self.places.len() >= PLACES
            && let Some(soonest) = (0..self.places.len()).min_by_key(|index| self.places[*index].next_at)
        {
            self.places.swap_remove(soonest);
        }
    }
}

#[cfg(test)]
mod tests {
    use time::macros::datetime;

    use super::*;

    const NOW: OffsetDateTime = datetime!(2026-11-25 16:00 UTC);

    #[test]
    fn what_is_easy_to_guess_is_refused() {
        for (typed, is_taken) in [
            ("", false),
            ("password", false),
            ("fourteen chars", false),
            ("fifteen chars !", true),
            ("aaaaaaaaaaaaaaaaaaaa", false),
            ("121212121212121212", false),
            ("heron copper fjord tern", true),
        ] {
            assert_eq!(read_new(typed).is_ok(), is_taken, "{typed}");
        }
        assert!(read_new(&"ab cd ef".repeat(26)).is_err());
        assert!(read_idle_minutes("0").is_err() && read_idle_minutes("1441").is_err());
        assert_eq!(read_idle_minutes(" 15 "), Ok(15));
    }

    #[test]
    fn each_wrong_try_waits_twice_as_long() {
        let (mut tries, mut now) = (WrongTries::default(), NOW);
        let from = 7;
        let mut waited = Vec::new();
        for _ in 0..14 {
            let wait = tries.begin(from, now);
            if let Some(wait) = wait {
                waited.push(wait.whole_seconds());
                now += wait;
                assert_eq!(tries.begin(from, now), None);
            }
        }
        assert_eq!(waited, [2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300][..waited.len()], "{waited:?}");
        assert!(waited.len() >= 8);
        // Another place is not held up, and one that is right begins anew.
        assert_eq!(tries.begin(8, now), None);
        tries.was_right(from);
        assert_eq!(tries.begin(from, now), None);
        for _ in 0..4 {
            tries.begin(from, now);
        }
        // A clock that was put back by a year holds nobody up for a year.
        assert!(tries.begin(from, now - Duration::days(365)).is_some_and(|wait| wait <= LONGEST));
    }

    #[test]
    fn the_memory_of_tries_is_bounded() {
        let mut tries = WrongTries::default();
        for n in 0..5000_u32 {
            tries.begin(n.into(), NOW);
        }
        assert_eq!(tries.places.len(), PLACES);
    }
}
