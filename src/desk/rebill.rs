//! What a corrected order changes on its bill: the lines to reverse and the lines to add.

use super::account::{Account, BillLine};
use super::bill::{Charge, ChargeKind};
use super::money::Cents;

/// The changes of a bill. Nothing is changed in place: a line is reversed and another one is added.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Rebill {
    pub reversed: Vec<BillLine>,
    pub added: Vec<Charge>,
}

impl Rebill {
    /// `before` and `after` are the lines at list prices of what was ordered and of what is ordered now. A price agreed
    /// on stays: a new line costs as much more or less than the one it replaces as the list prices differ. A line that
    /// the owner has changed on the bill already is left alone. No change is offered that makes the bill negative.
    pub fn of(account: &Account, before: &[Charge], after: &[Charge]) -> Self {
        let is_in = |lines: &[Charge], line: &Charge| lines.iter().any(|other| same(other, line));
        let mut rebill = Self::default();
        let mut gone: Vec<&Charge> = before.iter().filter(|line| !is_in(after, line)).collect();
        for new in after.iter().filter(|line| !is_in(before, line)) {
            let replaced = gone.iter().position(|old| (old.kind, old.eye) == (new.kind, new.eye));
            match replaced.map(|at| gone.remove(at)) {
                Some(old) => rebill.replace(account, old, new),
                None if account.standing().any(|line| same(&line.charge, new)) => {}
                None => rebill.added.push(new.clone()),
            }
        }
        for old in gone {
            rebill.reversed.extend(rebill.standing(account, old).cloned());
        }
        if (account.billed() + rebill.change()).is_negative() { Self::default() } else { rebill }
    }

    fn replace(&mut self, account: &Account, old: &Charge, new: &Charge) {
        let Some(line) = self.standing(account, old).cloned() else { return };
        let amount = line.charge.amount + new.amount - old.amount;
        let amount =
            if line.charge.amount == Cents::ZERO || amount.is_negative() { line.charge.amount } else { amount };
        self.added.push(Charge { amount, ..new.clone() });
        self.reversed.push(line);
    }

    /// The line of the bill that stands for a line of the order: the same, else the only one of its kind and eye.
    fn standing<'a>(&self, account: &'a Account, old: &Charge) -> Option<&'a BillLine> {
        let is_left = |line: &&BillLine| !self.reversed.iter().any(|taken| taken.seq == line.seq);
        let alike = |line: &&BillLine| (line.charge.kind, line.charge.eye) == (old.kind, old.eye);
        let found: Vec<_> = account.standing().filter(is_left).filter(alike).collect();
        let only = if let [only] = found[..] { Some(only) } else { None };
        found.into_iter().find(|line| same(&line.charge, old)).or(only)
    }

    pub fn is_empty(&self) -> bool {
        self.reversed.is_empty() && self.added.is_empty()
    }

    /// By how much the bill becomes more.
    pub fn change(&self) -> Cents {
        let added: Cents = self.added.iter().map(|charge| charge.amount).sum();
        let reversed: Cents = self.reversed.iter().map(|line| line.charge.amount).sum();
        added - reversed
    }
}

/// Whether two lines are for the same, at whatever price.
fn same(one: &Charge, other: &Charge) -> bool {
    (one.kind, one.eye, &one.what, &one.code) == (other.kind, other.eye, &other.what, &other.code)
}

impl Account {
    /// Whether a surcharge for a strong lens stands on the bill.
    pub fn charges_high_power(&self) -> bool {
        self.standing().any(|line| line.charge.kind == ChargeKind::HighPower)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::Eye;
    use time::macros::date;

    fn charge(kind: ChargeKind, eye: Eye, what: &str, code: &str, cents: i64) -> Charge {
        Charge { kind, eye: Some(eye), what: what.into(), code: code.into(), amount: Cents::new(cents) }
    }

    fn lens(eye: Eye, code: &str, cents: i64) -> Charge {
        charge(ChargeKind::Lens, eye, "Single-vision lens, hard resin", code, cents)
    }

    fn coating(eye: Eye, what: &str, cents: i64) -> Charge {
        charge(ChargeKind::Coating, eye, what, "V2750", cents)
    }

    fn account(lines: &[Charge]) -> Account {
        Account::of_order(lines, &[], date!(2026 - 11 - 05))
    }

    /// Code and cents of each line.
    type Said = Vec<(String, i64)>;

    fn said(rebill: &Rebill) -> (Said, Said) {
        let words = |charge: &Charge| (charge.code.clone(), charge.amount.cents());
        let reversed = rebill.reversed.iter().map(|line| words(&line.charge)).collect();
        (reversed, rebill.added.iter().map(words).collect())
    }

    /// A sphere of -4.00 is V2100, of -4.25 V2101 (HCPCS descriptors, `desk::procedure_code`).
    #[test]
    fn another_code_replaces_the_line_of_its_eye_at_the_agreed_price() {
        let before = [lens(Eye::Right, "V2100", 4500), lens(Eye::Left, "V2100", 4500)];
        let after = [lens(Eye::Right, "V2101", 4500), lens(Eye::Left, "V2100", 4500)];
        let agreed = [lens(Eye::Right, "V2100", 3900), lens(Eye::Left, "V2100", 3900)];
        let rebill = Rebill::of(&account(&agreed), &before, &after);
        assert_eq!(said(&rebill), (vec![("V2100".into(), 3900)], vec![("V2101".into(), 3900)]));
        assert_eq!(rebill.reversed[0].charge.eye, Some(Eye::Right));
        assert_eq!(rebill.change(), Cents::ZERO);
        assert!(Rebill::of(&account(&agreed), &before, &before).is_empty());
    }

    #[test]
    fn what_is_gone_is_reversed_and_what_is_new_is_added() {
        let [plain, clear, hard] = [lens(Eye::Right, "V2100", 4500), coating(Eye::Right, "Clear", 3000), {
            coating(Eye::Right, "Hard", 1000)
        }];
        let both = [plain.clone(), clear.clone()];
        for (before, after, reversed, added, change) in [
            (&both[..], &both[..1], vec![3000], vec![], -3000),
            (&both[..1], &both[..], vec![], vec![3000], 3000),
            (&both[..], &[plain.clone(), hard.clone()][..], vec![3000], vec![1000], -2000),
        ] {
            let rebill = Rebill::of(&account(before), before, after);
            let amounts = |lines: Vec<(String, i64)>| lines.into_iter().map(|(_, cents)| cents).collect::<Vec<_>>();
            let (was_reversed, was_added) = said(&rebill);
            assert_eq!((amounts(was_reversed), amounts(was_added)), (reversed, added));
            assert_eq!(rebill.change(), Cents::new(change));
        }
    }

    #[test]
    fn what_the_owner_changed_already_is_left_alone() {
        let (before, after) = ([lens(Eye::Right, "V2100", 4500)], [lens(Eye::Right, "V2101", 4500)]);
        assert!(Rebill::of(&account(&[]), &before, &after).is_empty(), "the line was reversed by hand");
        let clear = [coating(Eye::Right, "Clear", 3000)];
        assert!(Rebill::of(&account(&clear), &[], &clear).is_empty(), "the line was added by hand");
        let mut discounted = account(&clear);
        discounted.lines.push(BillLine {
            seq: 9,
            charge: Charge { kind: ChargeKind::Discount, eye: None, amount: Cents::new(-2000), ..clear[0].clone() },
            ..discounted.lines[0].clone()
        });
        assert!(Rebill::of(&discounted, &clear, &[]).is_empty(), "the bill would be negative");
        let free = [coating(Eye::Right, "Clear", 0)];
        let dearer = [coating(Eye::Right, "Mirror", 9000)];
        assert_eq!(said(&Rebill::of(&account(&free), &clear, &dearer)).1, [("V2750".to_owned(), 0)], "it was free");
    }
}
