//! The sentence beside a field whose value the book refused.
//!
//! Forms refuse these values before the book is asked. When one slips through, the name of the violated constraint (table
//! and column, see `migrations/`) still leads to the field, so the owner can put it right instead of seeing a failure.

use super::page::cancellations::CancellationForm;
use super::page::checks::ConcessionForm;
use super::page::compensation::CompensationForm;
use super::page::customers::CustomerForm;
use super::page::cuts::CutForm;
use super::page::erasure::ErasureForm;
use super::page::impact::EyeProofNames;
use super::page::lab::LabForm;
use super::page::lab::material::MaterialForm;
use super::page::lab::treatment::TreatmentForm;
use super::page::lenses::EyeLensNames;
use super::page::orders::OrderForm;
use super::page::own_frame::OwnFrameForm;
use super::page::payments::PaymentForm;
use super::page::process_spread::ProcessSpreadForm;
use super::page::shapes::ShapeForm;
use super::page::shipments::ShipmentForm;
use super::page::stock::DrawerLensForm;
use crate::bench::process_spread::FIGURES;
use crate::optics::Eye;
use crate::store::StoreError;

/// The field and its sentence, where the refusal is about a value that a form asks for.
pub fn refused_value(why: &StoreError) -> Option<(String, &'static str)> {
    match why {
        StoreError::OutOfRange(constraint) => of_range(constraint),
        StoreError::Twice(columns) => of_unique(columns),
        _ => None,
    }
}

const NAME: &str = "This name is empty or too long";
const PRICE: &str = "This price is below nothing or too high";
const LENGTH: &str = "This length is outside what can be";
const FRAME_TWICE: &str = "Another frame in the book has this maker, model, color, eye size and bridge";
const NUMBER: &str = "This figure is outside what can be";

fn of_range(constraint: &str) -> Option<(String, &'static str)> {
    if let Some(column) = constraint.strip_prefix("process_spread_") {
        let figure = FIGURES.iter().map(|figure| figure.key).chain([ProcessSpreadForm::OFFER_WRAP]);
        return figure.into_iter().find(|key| *key == column).map(|key| (key.to_owned(), NUMBER));
    }
    let of_right_lens = |field: fn(EyeLensNames) -> String| field(EyeLensNames::of(Eye::Right));
    let (field, says) = match constraint {
        "lab_name" => (LabForm::NAME, NAME),
        "lab_blocker_step" => (LabForm::BLOCKER_STEP, LENGTH),
        "lab_blank_margin" => (LabForm::BLANK_MARGIN, LENGTH),
        "lab_centre_across" => (LabForm::CENTER_ACROSS, LENGTH),
        "lab_centre_height" => (LabForm::CENTER_HEIGHT, LENGTH),
        "lab_tight_corner" => (LabForm::TIGHT_CORNER, LENGTH),
        "lab_wheel_radius" => (LabForm::WHEEL_RADIUS, LENGTH),
        "lab_stock_diameters" => (LabForm::STOCK_DIAMETERS, NUMBER),
        "lab_closed_weekdays" => (LabForm::CLOSED_WEEKDAYS, NUMBER),
        "lab_closed_periods" => (LabForm::CLOSED_PERIODS, "This list is too long"),
        "lab_lead_days" => (LabForm::LEAD_DAYS, NUMBER),
        "lab_shipping" => (LabForm::SHIPPING, PRICE),

        "own_frame_arrival_condition" => (OwnFrameForm::CONDITION, "This condition is empty or too long"),

        "material_version_name" => (MaterialForm::NAME, NAME),
        "material_version_index" => (MaterialForm::INDEX, NUMBER),
        "material_version_abbe" => (MaterialForm::ABBE, NUMBER),
        "material_version_density" => (MaterialForm::DENSITY, NUMBER),
        "material_version_centre" => (MaterialForm::CENTER, LENGTH),
        "material_version_price" => (MaterialForm::PRICE, PRICE),
        "treatment_version_name" => (TreatmentForm::NAME, NAME),
        "treatment_version_price" => (TreatmentForm::PRICE, PRICE),

        "customer_name" => (CustomerForm::NAME, NAME),
        "frame_maker" => (OrderForm::FRAME_MAKER, NAME),
        "frame_model" => (OrderForm::FRAME_MODEL, NAME),
        "frame_eye_size" => (OrderForm::FRAME_EYE_SIZE, LENGTH),
        "frame_bridge" => (OrderForm::FRAME_BRIDGE, LENGTH),
        "frame_temple" => (OrderForm::FRAME_TEMPLE, LENGTH),
        "frame_price" => (OrderForm::PRICE_FRAME, PRICE),

        "job_promised_after_order" => (
            OrderForm::PROMISED_ON,
            "The promised day is before the order: choose a later \
         day",
        ),
        "job_eye_height" => (OrderForm::height(Eye::Right), LENGTH),
        "prescription_eye_sphere"
        | "prescription_eye_cylinder"
        | "prescription_eye_axis"
        | "prescription_eye_power"
        | "prescription_eye_prism_in"
        | "prescription_eye_prism_up" => (OrderForm::rx(Eye::Right), NUMBER),
        "prescription_eye_pd" => (OrderForm::PD, LENGTH),
        "prescription_eye_near_pd" => (OrderForm::NEAR_PD, LENGTH),
        "charge_amount" => (OrderForm::PRICE_LENS, "A line of the bill is more than a million"),

        "position_of_wear_vertex" => (CompensationForm::VERTEX_TO, LENGTH),
        "position_of_wear_vertex_tested" => (CompensationForm::VERTEX_FROM, LENGTH),
        "position_of_wear_panto" => (CompensationForm::PANTO, NUMBER),
        "position_of_wear_vertex_is_known" => (CompensationForm::VERTEX_TO, LENGTH),
        "power_decision_eye_front_power" | "power_decision_eye_centre" => (CompensationForm::DECISION, NUMBER),
        "position_of_wear_wrap" => (CompensationForm::WRAP, NUMBER),
        "power_decision_eye_sphere" | "power_decision_eye_cylinder" | "power_decision_eye_axis" => {
            (CompensationForm::DECISION, "This power is outside what a lens can have")
        }
        "shape_dbl" => (ShapeForm::DBL, LENGTH),

        "drawer_lens_sphere" => (DrawerLensForm::SPHERE, NUMBER),
        "drawer_lens_diameter" => (DrawerLensForm::DIAMETER, LENGTH),
        "drawer_lens_centre" => (DrawerLensForm::CENTER, LENGTH),
        "drawer_lens_front_power" => (DrawerLensForm::FRONT, NUMBER),
        "drawer_lens_cylinder" => {
            (DrawerLensForm::CYLINDER, "A lens of the drawer is kept in minus cylinder, 0 to -10")
        }
        // Which eye's lens it was is not known here; the form shows both.
        "lens_in_hand_diameter" => return Some((of_right_lens(|names| names.diameter), LENGTH)),
        "lens_in_hand_centre" => return Some((of_right_lens(|names| names.center), LENGTH)),
        "lens_in_hand_front_power" => return Some((of_right_lens(|names| names.front), NUMBER)),
        "lens_in_hand_off_in" => return Some((of_right_lens(|names| names.off_in), LENGTH)),
        "lens_in_hand_off_up" => return Some((of_right_lens(|names| names.off_up), LENGTH)),

        "impact_proof_tested_on" => return Some((EyeProofNames::of(Eye::Right).tested_on, "A day is needed")),
        "impact_proof_says" => return Some((EyeProofNames::of(Eye::Right).certificate, "This is empty or too long")),

        "cut_size" => (CutForm::SIZE_RIGHT, LENGTH),
        "concession_reason" => (ConcessionForm::REASON, "Write the reason in words: it is printed with the pair"),
        "shipment_carrier" => (ShipmentForm::CARRIER, NAME),
        "erasure_reason" => (ErasureForm::REASON, "Write who asked, and how, in a few words"),
        "cancellation_reason" => (CancellationForm::REASON, "Write the reason in a few words"),
        "payment_amount" => (PaymentForm::AMOUNT, "This amount is nothing, or more than a million"),
        _ => return None,
    };
    Some((field.to_owned(), says))
}

fn of_unique(columns: &str) -> Option<(String, &'static str)> {
    let table = columns.split('.').next().unwrap_or_default();
    match table {
        "frame" => Some((OrderForm::FRAME_MODEL.to_owned(), FRAME_TWICE)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::error::WebError;
    use crate::web::form::Form;

    fn range(name: &str) -> Option<(String, &'static str)> {
        refused_value(&StoreError::OutOfRange(name.to_owned()))
    }

    #[test]
    fn a_violated_constraint_names_its_field() {
        for (constraint, field) in [
            ("customer_name", "name"),
            ("frame_eye_size", "frame_eye_size"),
            ("drawer_lens_diameter", "diameter"),
            ("lab_lead_days", "lead_days"),
            ("payment_amount", "amount"),
            ("lens_in_hand_off_in", "in_right"),
            ("process_spread_blank_power", "blank_power"),
            ("process_spread_offer_wrap", "offer_wrap"),
        ] {
            assert_eq!(range(constraint).map(|(field, _)| field).as_deref(), Some(field), "{constraint}");
        }
        let frame = refused_value(&StoreError::Twice("frame.maker, frame.model, frame.color".to_owned()));
        assert_eq!(frame.map(|(field, _)| field).as_deref(), Some("frame_model"));
    }

    /// Constraints of values that no field of a form holds as it is.
    const NO_FIELD: [&str; 66] = [
        "sent_in_month_month",
        "twin_gap",
        "twin_is_mirrored",
        "backup_setting_folder",
        "backup_setting_mark",
        "backup_setting_recipient",
        "attachment_bytes_hash",
        "attachment_name",
        "concession_is_open",
        "delay_notice_is_renewed",
        "delay_notice_revised_on",
        "draft_fields",
        "draft_key",
        "draft_writer",
        "drawer_lens_base",
        "drawer_lens_count",
        "drawer_lens_promised",
        "drawer_lens_reorder_at",
        "drawer_move_change",
        "event_kind_effect",
        "form_outcome_key",
        "job_eye_height_from",
        "job_parent",
        "layout_document",
        "lens_in_hand_base",
        "lens_in_hand_has_ground_prism",
        "remake_frame_stays",
        "lens_promise_is_open",
        "old_record_has_date",
        "old_record_hash",
        "old_record_number",
        "old_matching_heads",
        "old_matching_saved_at",
        "old_upload_key",
        "old_upload_name",
        "prescription_near_pd_given",
        "prescription_pd_given",
        "process_spread_nudges",
        "purchase_expected_after_order",
        "purchase_line_base",
        "purchase_line_count",
        "purchase_line_cylinder",
        "purchase_line_diameter",
        "purchase_line_for",
        "purchase_line_for_one",
        "purchase_line_here",
        "purchase_line_price",
        "purchase_line_sphere",
        "purchase_line_to_come",
        "purchase_move_count",
        "receipt_document",
        "refund_owed_amount",
        "screen_lock_idle",
        "screen_lock_one",
        "shape_eye_is_mirror",
        "shape_hole_diameter",
        "shape_hole_side",
        "shape_hole_slot",
        "shape_of_something",
        "supplier_name",
        "supplier_offer_diameter",
        "supplier_offer_price",
        "verification_passed",
        "verification_reading",
        "verification_row_passes",
        "verification_verdict",
    ];

    #[test]
    fn every_check_of_the_migrations_has_its_field() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
        let mut names = Vec::new();
        for entry in std::fs::read_dir(folder).unwrap() {
            let text = std::fs::read_to_string(entry.unwrap().path()).unwrap();
            let words: Vec<&str> = text.split_whitespace().collect();
            names.extend(words.windows(3).filter(|w| w[0] == "constraint" && w[2] == "check").map(|w| w[1].to_owned()));
        }
        assert!(names.len() > 80, "{names:?}");
        let is_inner = |name: &str| name.ends_with("_at") || name.ends_with("_eye") || NO_FIELD.contains(&name);
        let without: Vec<_> = names
            .into_iter()
            .filter(|name| !is_inner(name) && !name.starts_with("wanted_prism") && range(name).is_none())
            .collect();
        assert!(without.is_empty(), "no field for {without:?}");
    }

    #[test]
    fn what_is_no_field_stays_a_failure() {
        for name in ["customer_changed_at", "process_spread_changed_at", "draft_key", ""] {
            assert_eq!(range(name), None, "{name}");
        }
        assert_eq!(refused_value(&StoreError::Twice("receipt.number".to_owned())), None);
        assert_eq!(refused_value(&StoreError::Busy), None);
        let kept = Form::default().kept::<()>(Err(StoreError::OutOfRange("draft_key".to_owned())));
        assert!(matches!(kept, Err(WebError::Internal(_))));
    }

    #[test]
    fn a_form_that_the_book_refuses_is_shown_again() {
        let mut form = Form::default();
        let kept = form.kept::<()>(Err(StoreError::OutOfRange("payment_amount".to_owned())));
        assert!(matches!(kept, Ok(None)));
        assert_eq!(form.error("amount"), Some("This amount is nothing, or more than a million"));
        assert!(matches!(form.kept(Ok(7)), Ok(Some(7))));
    }
}
