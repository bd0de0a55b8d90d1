//! A list of uncut lenses to buy: on letter paper, as plain text and as comma-separated values. It names jobs, never people.

use askama::Template;

use super::Head;
use crate::bench::buying::{DrawerNeed, EyeNeed};
use crate::desk::csv::csv;
use crate::desk::lab::Lab;
use crate::desk::purchase::{OrderedFor, PurchaseLine};
use crate::optics::notation::short;

/// A line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensListRow {
    pub count: i64,
    /// In minus form, without the axis.
    pub power: String,
    pub material: String,
    pub treatments: String,
    /// `70 mm or larger`.
    pub diameter: String,
    /// The same as a number of millimeters; empty where it is not known.
    pub diameter_mm: String,
    /// The nominal base curve; empty where any will do.
    pub base: String,
    pub remark: String,
    /// `Job 1042, right eye`.
    pub used_for: String,
}

impl LensListRow {
    pub fn of_eye(need: &EyeNeed) -> Self {
        Self {
            count: 1,
            power: need.power_words(),
            material: need.material_name.clone(),
            treatments: need.treatments.clone(),
            diameter: need.size.words(),
            diameter_mm: need.size.order_mm().map(short).unwrap_or_default(),
            base: String::new(),
            remark: need.remark.clone(),
            used_for: format!("Job {}, {} eye", need.job, need.eye.name()),
        }
    }

    pub fn of_drawer(need: &DrawerNeed) -> Self {
        let details = &need.lens.details;
        let diameter_mm = short(details.diameter.to_f64());
        Self {
            count: need.order,
            power: details.power_words(),
            material: need.lens.material_name.clone(),
            treatments: need.lens.treatments.clone(),
            diameter: format!("{diameter_mm} mm"),
            diameter_mm,
            base: details.base.map(|base| short(base.to_f64())).unwrap_or_default(),
            remark: String::new(),
            used_for: "Drawer".into(),
        }
    }

    pub fn of_line(line: &PurchaseLine) -> Self {
        let lens = &line.lens;
        Self {
            count: lens.count,
            power: lens.power_words(),
            material: line.material_name.clone(),
            treatments: lens.treatments.clone(),
            diameter: match lens.ordered_for {
                OrderedFor::Eye { .. } => lens.diameter_words(),
                OrderedFor::Drawer(_) => format!("{} mm", short(lens.diameter.to_f64())),
            },
            diameter_mm: short(lens.diameter.to_f64()),
            base: lens.base.map(|base| short(base.to_f64())).unwrap_or_default(),
            remark: lens.remark.clone(),
            used_for: match lens.ordered_for {
                OrderedFor::Eye { job, eye } => format!("Job {job}, {} eye", eye.name()),
                OrderedFor::Drawer(_) => "Drawer".into(),
            },
        }
    }

    /// `2 x -2.25 -0.50, Hard resin 1.50, hard coat, 70 mm or larger, base 6.00 (Job 1042, right eye)`.
    fn text(&self) -> String {
        let base = if self.base.is_empty() { String::new() } else { format!("base {}", self.base) };
        let parts = [&self.power, &self.material, &self.treatments, &self.diameter, &base, &self.remark];
        let parts = parts.into_iter().filter(|part| !part.is_empty()).map(String::as_str).collect::<Vec<_>>();
        format!("{} x {} ({})", self.count, parts.join(", "), self.used_for)
    }
}

/// The lenses of one supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LensListGroup {
    /// Empty where none is chosen yet.
    pub supplier: String,
    pub rows: Vec<LensListRow>,
}

impl LensListGroup {
    /// As plain text, a line a lens.
    pub fn text(&self) -> String {
        self.rows.iter().map(LensListRow::text).collect::<Vec<_>>().join("\n")
    }
}

/// The list.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/lens_list.html")]
pub struct LensList {
    pub head: Head,
    pub title: String,
    /// Number and day of an order, or the day of the list.
    pub on: String,
    pub note: String,
    pub back: String,
    pub groups: Vec<LensListGroup>,
}

impl LensList {
    pub fn new(lab: &Lab, title: String, on: String, back: &str, groups: Vec<LensListGroup>) -> Self {
        Self { head: Head::of(lab), title, on, note: String::new(), back: back.to_owned(), groups }
    }

    /// As comma-separated values with a row of names.
    pub fn csv(&self) -> String {
        let names = [
            "Supplier",
            "Quantity",
            "Power",
            "Material",
            "Coating and tint",
            "Diameter, mm, or larger",
            "Base",
            "Remark",
            "For",
        ];
        let names = names.map(str::to_owned).to_vec();
        let rows = self.groups.iter().flat_map(|group| {
            group.rows.iter().map(|row| {
                let row = row.clone();
                let supplier = group.supplier.clone();
                let count = row.count.to_string();
                vec![
                    supplier,
                    count,
                    row.power,
                    row.material,
                    row.treatments,
                    row.diameter_mm,
                    row.base,
                    row.remark,
                    row.used_for,
                ]
            })
        });
        csv(std::iter::once(names).chain(rows))
    }
}
