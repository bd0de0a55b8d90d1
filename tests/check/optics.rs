//! Golden checks of powers, prism and tolerances: each table in `check/tables` is typed by hand from the source
//! its first line names, never written by this program.

use rimbook::optics::power::SphereCylinder;
use rimbook::optics::prescription::read;
use rimbook::optics::prism::{BaseVector, decentration_for, prism_at};
use rimbook::optics::tolerance::{Limit, Profile, RowUnit};

/// A table: its tolerance, and rows of what goes in (the first columns) and what must come out (`want_…`).
struct Table {
    name: &'static str,
    tolerance: f64,
    inputs: usize,
    rows: Vec<Vec<String>>,
}

impl Table {
    fn read(name: &'static str, text: &str) -> Self {
        let mut lines = text.lines();
        let citation = lines.next().expect("a first line");
        assert!(citation.starts_with("# "), "{name}: the first line cites the source");
        let (_, tolerance) = citation.rsplit_once("; tolerance ").expect("the first line ends in its tolerance");
        let columns: Vec<&str> = lines.next().expect("a line of column names").split(',').collect();
        let inputs = columns.iter().take_while(|column| !column.starts_with("want_")).count();
        assert!(inputs > 0 && columns[inputs..].iter().all(|column| column.starts_with("want_")), "{name}");
        let rows: Vec<Vec<String>> = lines.map(|line| line.split(',').map(str::to_owned).collect()).collect();
        assert!(!rows.is_empty() && rows.iter().all(|row| row.len() == columns.len()), "{name}: ragged rows");
        Self { name, tolerance: number(tolerance), inputs, rows }
    }

    /// Every row whose answer is further from the table than its tolerance.
    fn wrong_rows(&self, answer: impl Fn(&[String]) -> Vec<f64>) -> Vec<String> {
        let mut wrong = Vec::new();
        for row in &self.rows {
            let got = answer(&row[..self.inputs]);
            let want: Vec<f64> = row[self.inputs..].iter().map(|field| number(field)).collect();
            assert_eq!(got.len(), want.len(), "{}", self.name);
            let is_right = got.iter().zip(&want).all(|(got, want)| (got - want).abs() <= self.tolerance);
            if !is_right {
                wrong.push(format!("{} {row:?}: got {got:?}", self.name));
            }
        }
        wrong
    }

    /// The table must hold, and must fail in every column when its last row is made wrong by three tolerances.
    #[track_caller]
    fn check(mut self, answer: impl Fn(&[String]) -> Vec<f64>) {
        assert_eq!(self.wrong_rows(&answer), Vec::<String>::new());
        let last = self.rows.len() - 1;
        for column in self.inputs..self.rows[last].len() {
            let right = self.rows[last][column].clone();
            self.rows[last][column] = (number(&right) + 3.0 * self.tolerance).to_string();
            assert_eq!(self.wrong_rows(&answer).len(), 1, "{}: a wrong answer in column {column} passes", self.name);
            self.rows[last][column] = right;
        }
    }
}

macro_rules! table {
    ($name:literal) => {
        Table::read($name, include_str!(concat!("tables/", $name, ".csv")))
    };
}

fn number(field: &str) -> f64 {
    field.parse().unwrap_or_else(|_| panic!("“{field}” is not a number"))
}

fn numbers<const N: usize>(row: &[String]) -> [f64; N] {
    let numbers: Vec<f64> = row.iter().map(|field| number(field)).collect();
    numbers.try_into().expect("as many numbers as the table has inputs")
}

/// The unit as the imbalance table writes it.
fn size_and_unit(limit: Limit) -> [f64; 2] {
    [limit.size, if limit.unit == RowUnit::Millimeter { 1.0 } else { 0.0 }]
}

#[test]
fn transposition() {
    table!("transposition").check(|row| {
        let [sphere_d, cylinder_d, axis_deg] = numbers(row);
        let other = SphereCylinder::new(sphere_d, cylinder_d, axis_deg).transposed();
        vec![other.sphere_d, other.cylinder_d, other.axis_deg]
    });
}

#[test]
fn power_vector() {
    table!("power_vector").check(|row| {
        let [sphere_d, cylinder_d, axis_deg] = numbers(row);
        let vector = SphereCylinder::new(sphere_d, cylinder_d, axis_deg).vector();
        vec![vector.m_d, vector.j0_d, vector.j45_d]
    });
}

#[test]
fn meridian() {
    table!("meridian").check(|row| {
        let [sphere_d, cylinder_d, axis_deg, meridian_deg] = numbers(row);
        vec![SphereCylinder::new(sphere_d, cylinder_d, axis_deg).power_at_deg(meridian_deg)]
    });
}

#[test]
fn vertex_distance() {
    table!("vertex").check(|row| {
        let [power_d, from_mm, to_mm] = numbers(row);
        vec![SphereCylinder::sphere(power_d).vertex_compensated(from_mm, to_mm).sphere_d]
    });
}

#[test]
fn prentice() {
    table!("prentice").check(|row| {
        let [sphere_d, cylinder_d, axis_deg, x_mm, y_mm] = numbers(row);
        let base = prism_at(SphereCylinder::new(sphere_d, cylinder_d, axis_deg).matrix(), x_mm, y_mm);
        vec![base.x_pd, base.y_pd]
    });
}

#[test]
fn resultant() {
    table!("resultant").check(|row| {
        let [x_pd, y_pd] = numbers(row);
        let polar = BaseVector { x_pd, y_pd }.to_polar();
        vec![polar.amount_pd, polar.base_deg]
    });
}

#[test]
fn prism_by_decentration() {
    table!("prism_by_decentration").check(|row| {
        let [sphere_d, x_pd, y_pd] = numbers(row);
        let (x_mm, y_mm) = decentration_for(SphereCylinder::sphere(sphere_d), BaseVector { x_pd, y_pd }).unwrap();
        vec![x_mm, y_mm]
    });
}

#[test]
fn ansi_power() {
    table!("z80_1_power").check(|row| vec![Profile::Z80_1.power_limit(numbers::<1>(row)[0]).size]);
}

#[test]
fn ansi_cylinder() {
    table!("z80_1_cylinder").check(|row| vec![Profile::Z80_1.cylinder_limit(1.0, numbers::<1>(row)[0]).size]);
}

#[test]
fn ansi_axis() {
    table!("z80_1_axis").check(|row| vec![Profile::Z80_1.axis_limit(numbers::<1>(row)[0]).unwrap().size]);
    assert_eq!(Profile::Z80_1.axis_limit(-0.10), None, "below an eighth no axis tolerance is defined");
}

#[test]
fn ansi_imbalance() {
    table!("z80_1_imbalance").check(|row| {
        let [power_d] = numbers(row);
        let vertical = size_and_unit(Profile::Z80_1.vertical_limit(power_d, 0.0));
        let horizontal = size_and_unit(Profile::Z80_1.horizontal_limit(power_d, 0.0));
        [vertical, horizontal].concat()
    });
}

#[test]
fn iso_power_cylinder_and_axis() {
    table!("iso_21987").check(|row| {
        let [strongest_d, cylinder_d] = numbers(row);
        let iso = Profile::Iso21987;
        vec![
            iso.power_limit(strongest_d).size,
            iso.cylinder_limit(strongest_d, cylinder_d).size,
            iso.axis_limit(cylinder_d).unwrap().size,
        ]
    });
}

#[test]
fn shorthand() {
    table!("shorthand").check(|row| {
        let minus = read(&row[0]).unwrap().rx.power.to_minus();
        let axis_deg = minus.axis().map_or(0.0, |axis| f64::from(axis.degrees()));
        vec![minus.sphere().to_f64(), minus.cylinder().to_f64(), axis_deg]
    });
}
