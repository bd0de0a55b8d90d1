//! The rows of the demonstration data files. `demo-data/README.md` explains each field.

use serde::Deserialize;

/// `lab.json`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LabRow {
    pub name: String,
    pub address: AddressRow,
    pub phone: String,
    pub email: String,
    pub tax_id: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AddressRow {
    pub line1: String,
    pub city: String,
    pub region: String,
    pub postcode: String,
}

/// `customers.json`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DemoCustomer {
    pub key: String,
    pub name: String,
    pub line1: String,
    pub line2: Option<String>,
    pub city: String,
    pub region: String,
    pub postcode: String,
    pub phone: Option<String>,
    pub email: Option<String>,
    pub note: Option<String>,
}

/// `frames.json`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DemoFrame {
    pub key: String,
    pub maker: String,
    pub model: String,
    pub color: String,
    pub eye_size_mm: f64,
    pub bridge_mm: f64,
    pub temple_mm: f64,
    pub rim: String,
    pub price_cents: i64,
}

/// `shapes/index.json`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DemoShapeRow {
    pub key: String,
    pub file: String,
    #[serde(rename = "family")]
    _family: String,
    #[serde(rename = "frame_key")]
    _frame: String,
}

/// `drawer.json`.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DemoDrawerLens {
    pub material: String,
    pub sphere: String,
    pub cylinder: String,
    pub diameter_mm: f64,
    pub center_thickness_mm: f64,
    pub front_power_d: f64,
    pub count: i64,
}

/// A value for each eye.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Each<T> {
    pub right: T,
    pub left: T,
}

/// A lensmeter reading, as differences from the ordered lens in minus cylinder.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OffRow {
    pub sphere_off: f64,
    pub cylinder_off: f64,
    pub axis_off: i32,
}

/// A reading of a pair; the default is a pair exactly as ordered.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MeasuredRow {
    pub right: OffRow,
    pub left: OffRow,
    pub pd_off_mm: f64,
    pub height_off_mm: Each<f64>,
}

/// The last stage that a job has reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StageRow {
    Taken,
    Shape,
    Lenses,
    Cut,
    Checked,
    Packed,
    Sent,
}

/// How much was paid with the order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PaidRow {
    Full,
    Deposit,
    None,
}

/// `jobs.json`.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DemoJob {
    pub customer: String,
    pub frame: String,
    pub shape: Option<String>,
    pub relens_of: Option<usize>,
    pub ordered_days_ago: i64,
    pub promised_in_days: i64,
    pub rx: Each<String>,
    pub written_days_before_order: i64,
    pub valid_days: i64,
    pub prescriber: String,
    #[serde(default)]
    pub prescriber_npi: Option<String>,
    pub pd: String,
    pub near_pd: Option<String>,
    pub height: Each<f64>,
    pub material: String,
    pub coating: Option<String>,
    pub tint: Option<String>,
    pub stage: StageRow,
    pub check: Option<String>,
    pub reason: Option<String>,
    pub measured: Option<MeasuredRow>,
    pub measured_first: Option<MeasuredRow>,
    pub sent_days_ago: Option<i64>,
    pub carrier: Option<String>,
    pub tracking: Option<String>,
    pub paid: PaidRow,
    pub payment_kind: String,
}

/// All rows of all files.
pub struct Book {
    pub lab: LabRow,
    pub customers: Vec<DemoCustomer>,
    pub frames: Vec<DemoFrame>,
    pub shapes: Vec<DemoShapeRow>,
    pub drawer: Vec<DemoDrawerLens>,
    pub jobs: Vec<DemoJob>,
}

impl Book {
    /// Reads the files built into the binary.
    pub fn read() -> Result<Self, serde_json::Error> {
        Ok(Self {
            lab: serde_json::from_str(include_str!("../../demo-data/lab.json"))?,
            customers: serde_json::from_str(include_str!("../../demo-data/customers.json"))?,
            frames: serde_json::from_str(include_str!("../../demo-data/frames.json"))?,
            shapes: serde_json::from_str(include_str!("../../demo-data/shapes/index.json"))?,
            drawer: serde_json::from_str(include_str!("../../demo-data/drawer.json"))?,
            jobs: serde_json::from_str(include_str!("../../demo-data/jobs.json"))?,
        })
    }
}
