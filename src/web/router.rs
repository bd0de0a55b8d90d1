//! Every address of the product with its handlers, in the order a job meets them.

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{Method, StatusCode, header};
use axum::middleware::{Next, from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{MethodRouter, get, post};

use super::error::WebError;
use super::page::lab::{material, treatment};
use super::page::measuring::sheet;
use super::page::money::{self, bookkeeping, receipts as receipt_list, reminders, takings};
use super::page::orders::{correction, remake};
use super::page::shapes::picture;
use super::page::{
    backups, bill_lines, bills, blanks, buying, cancellations, causes, checks, compensation, customers, cuts, devices,
    drafts, edge, erasure, files, find, frames, impact, jobs, lab, layout, lenses, materials, measuring, old_records,
    orders, own_frame, packing, papers, payments, people, prism, process_spread, promise, purchases, receipts, refunds,
    returns, reversals, risk, screens, shapes, shipments, spoilage, start, stock, suppliers, ticket, today, understood,
};
use super::screens::ask_pass_phrase;
use super::{AppState, asset, off_thread, page};

/// Builds a table of addresses twice over: as routes, and as a list that tests walk.
macro_rules! addresses {
    ($(#[$doc:meta])* $routes:ident, $list:ident: $($path:literal => $handlers:expr,)+) => {
        $(#[$doc])*
        pub const $list: &[&str] = &[$($path),+];

        fn $routes() -> Router<AppState> {
            Router::new()$(.route($path, $handlers))+
        }
    };
}

addresses! {
    /// Open once the lab has a name.
    routes, ADDRESSES:
    "/" => get(today::show_today),
    "/find" => post(find::ask),
    "/find/{key}" => get(find::show_found),
    "/scan/{number}" => get(find::open_scanned),

    "/orders/new" => get(orders::new_order),
    "/orders/{key}" => get(orders::show_order).post(orders::take_order),
    "/orders/{key}/summary" => post(orders::show_summary),
    "/orders/{key}/measuring" => get(measuring::measure_order),
    "/orders/{key}/measuring/photo" => computed(post(measuring::keep_photo_of_order)),
    "/orders/{key}/measuring/figures" => post(measuring::use_figures_for_order),
    "/orders/{key}/measuring-sheet" => get(sheet::print_sheet_of_order),
    "/measuring-sheet" => get(sheet::print_sheet),
    "/photos/{id}" => get(measuring::show_photo),
    "/understood/rx" => post(understood::understood_rx),
    "/understood/pd" => post(understood::understood_pd),
    "/suggest/customers" => post(customers::suggest_customers),
    "/suggest/customers/{party}" => post(customers::suggest_party),
    "/suggest/frames" => post(frames::suggest_frames),

    "/jobs/{number}" => get(jobs::show_job),
    "/jobs/{number}/notes" => get(jobs::new_note).post(jobs::add_note),
    "/jobs/{number}/promise" => get(promise::show_promise).post(promise::agree_day),
    "/jobs/{number}/delay-notices" => post(promise::send_notice),
    "/jobs/{number}/delay-notices/{seq}" => get(promise::print_notice),
    "/jobs/{number}/delay-answers" => post(promise::keep_answer),
    "/jobs/{number}/people" => get(people::show_people).post(people::change_people),
    "/jobs/{number}/relens" => get(orders::new_lenses),
    "/jobs/{number}/files" => get(files::show_files).post(files::add_files),
    "/jobs/{number}/files/{id}" => get(files::show_file),
    "/jobs/{number}/measuring" => get(measuring::measure_job),
    "/jobs/{number}/measuring/photo" => computed(post(measuring::keep_photo_of_job)),
    "/jobs/{number}/measuring/figures" => post(measuring::use_figures_for_job),
    "/jobs/{number}/measuring-sheet" => get(sheet::print_sheet_of_job),
    "/jobs/{number}/own-frame" => get(own_frame::show_own_frame).post(own_frame::receive_own_frame),
    "/jobs/{number}/remake" => get(remake::begin_remake),
    "/jobs/{number}/shape" => computed(get(shapes::show_shape).post(shapes::keep_shape)),
    "/jobs/{number}/shape/similar" => computed(get(shapes::similar::show_similar)),
    "/jobs/{number}/shape/change" => post(shapes::change_shape),
    "/jobs/{number}/shape/holes" => post(shapes::holes::keep_holes),
    "/jobs/{number}/shape/loan" => post(shapes::borrow_shape),
    "/jobs/{number}/shape/earlier" => post(shapes::use_earlier_shape),
    "/jobs/{number}/shape/original" => get(shapes::download_original),
    "/jobs/{number}/shape/picture/{id}" => computed(get(picture::show_picture)),
    "/jobs/{number}/shape/outline" => computed(post(picture::keep_outline)),
    "/jobs/{number}/shape/export" => get(shapes::export::export_shape),
    "/jobs/{number}/shape/outline-sheet" => get(shapes::sheets::print_outline),
    "/jobs/{number}/shape/blocking-sheet" => computed(get(shapes::sheets::print_blocking)),
    "/jobs/{number}/shape/strip" => get(shapes::sheets::print_strip),
    "/shapes/{id}" => computed(get(shapes::family::show_one)),
    "/shapes/{id}/export" => get(shapes::export::export_one),
    "/jobs/{number}/lenses" => computed(get(lenses::show_lenses).post(lenses::take_lenses)),
    "/jobs/{number}/spoilage" => get(spoilage::ask_spoilage).post(spoilage::keep_spoilage),
    "/jobs/{number}/layout" => computed(get(layout::show_layout)),
    "/jobs/{number}/compensation" => computed(get(compensation::show_compensation).post(compensation::decide_power)),
    "/jobs/{number}/prism" => computed(get(prism::show_prism)),
    "/jobs/{number}/risk" => computed(get(risk::show_risk)),
    "/jobs/{number}/edge" => computed(get(edge::show_edge)),
    "/jobs/{number}/edge/figures" => computed(post(edge::show_figures)),
    "/jobs/{number}/materials" => computed(get(materials::compare_materials)),
    "/jobs/{number}/blanks" => computed(get(blanks::show_blanks).post(blanks::keep_list)),
    "/jobs/{number}/cut" => computed(get(cuts::show_cut).post(cuts::insert_cut)),
    "/jobs/{number}/ticket" => computed(get(ticket::show_ticket)),
    "/jobs/{number}/tickets" => computed(post(ticket::keep_ticket)),
    "/jobs/{number}/tickets/{seq}" => get(ticket::show_kept_ticket),
    "/jobs/{number}/check" => get(checks::show_check).post(checks::create_check),
    "/jobs/{number}/check/concession" => post(checks::concede_check),
    "/jobs/{number}/impact" => post(impact::record_impact),
    "/jobs/{number}/packing" => get(packing::show_packing).post(packing::create_packing),
    "/jobs/{number}/packing-sheet" => get(packing::print_packing_sheet),
    "/jobs/{number}/shipment" => get(shipments::show_shipment).post(shipments::create_shipment),
    "/jobs/{number}/slip" => get(shipments::print_slip),
    "/jobs/{number}/return" => get(returns::ask_return).post(returns::keep_return),
    "/jobs/{number}/correction" => get(correction::show_correction).post(correction::correct_job),
    "/jobs/{number}/cancellation" => get(cancellations::ask_cancellation).post(cancellations::cancel_job),
    "/jobs/{number}/papers" => get(papers::show_papers),
    "/jobs/{number}/bill" => get(bills::show_bill),
    "/jobs/{number}/bill/lines" => get(bill_lines::new_bill_line).post(bill_lines::add_bill_line),
    "/jobs/{number}/bill/reversals" => get(reversals::ask_reversal).post(reversals::reverse_bill_line),
    "/jobs/{number}/refunds" => get(refunds::ask_refund).post(refunds::give_refund),
    "/jobs/{number}/payments" => post(payments::create_payment),
    "/jobs/{number}/receipts" => post(receipts::issue_receipt),
    "/receipts/{number}" => get(receipts::print_receipt),

    "/money" => get(money::show_money),
    "/money/receipts" => get(receipt_list::list_receipts),
    "/money/takings" => get(takings::show_takings),
    "/money/files" => get(bookkeeping::ask_period),
    "/money/files/{file}" => get(bookkeeping::save_file),
    "/money/reminders/{id}" => get(reminders::show_reminder).post(reminders::keep_reminder),
    "/money/reminders/{id}/letter" => get(reminders::print_reminder),

    "/customers" => get(customers::list_customers).post(customers::search_customers),
    "/customers/{id}" => get(customers::show_customer),
    "/customers/{id}/data" => get(erasure::download_data),
    "/customers/{id}/erasure" => get(erasure::ask_erasure).post(erasure::erase_customer),
    "/customers/{id}/details" => get(customers::edit_customer).post(customers::change_customer),
    "/frames" => get(frames::list_frames).post(frames::search_frames),
    "/frames/{id}" => get(frames::show_frame),
    "/frames/{id}/details" => get(frames::edit_frame).post(frames::change_frame),
    "/buying" => computed(get(buying::show_buying).post(buying::order_lenses)),
    "/buying/promises" => post(buying::promise_lenses),
    "/buying/list" => computed(get(buying::print_list)),
    "/buying/list.csv" => computed(get(buying::save_list)),
    "/purchases/{number}" => get(purchases::show_purchase).post(purchases::move_lines),
    "/purchases/{number}/expected" => post(purchases::move_expectation),
    "/purchases/{number}/sheet" => get(purchases::print_purchase),
    "/suppliers/{id}" => get(suppliers::show_supplier).post(suppliers::rename_supplier),
    "/stock" => get(stock::show_drawer),
    "/stock/new" => get(stock::new_lens).post(stock::stock_lens),
    "/stock/{id}/reorder" => post(stock::set_reorder_point),
    "/stock/{id}/count" => get(stock::ask_count).post(stock::correct_count),

    "/causes" => get(causes::show_causes),
    "/lab" => get(lab::show_lab).post(lab::change_lab),
    "/lab/backups" => get(backups::show_backups).post(backups::change_backups),
    "/lab/backups/now" => post(backups::back_up_now),
    "/lab/devices" => get(devices::show_devices),
    "/lab/old-records" => computed(get(old_records::show_beginning).post(old_records::keep_table)),
    "/lab/old-records/columns" => computed(get(old_records::show_columns).post(old_records::match_columns)),
    "/lab/old-records/trial" => computed(get(old_records::show_trial).post(old_records::bring_in)),
    "/lab/process-spread" => get(process_spread::show_process_spread).post(process_spread::change_process_spread),
    "/lab/materials/new" => get(material::new_material).post(material::add_material),
    "/lab/materials/{line}" => get(material::show_material).post(material::change_material),
    "/lab/materials/{line}/retirement" => post(material::retire_material),
    "/lab/treatments/new" => get(treatment::new_treatment).post(treatment::add_treatment),
    "/lab/treatments/{line}" => get(treatment::show_treatment).post(treatment::change_treatment),
    "/lab/treatments/{line}/retirement" => post(treatment::retire_treatment),
}

addresses! {
    /// Open from the start. Files under `/static` are not listed.
    first_routes, FIRST_ADDRESSES:
    "/start" => get(start::ask_name).post(start::name_lab),
    "/drafts/{key}" => post(drafts::keep_draft),
}

addresses! {
    /// About the pass phrase. The page that asks for it is open to everybody who reaches the program.
    screen_routes, SCREEN_ADDRESSES:
    "/sign-in" => get(screens::ask_sign_in).post(screens::sign_in),
    "/lab/screens" => get(screens::show_screens),
    "/lab/screens/pass-phrase" => post(screens::change_pass_phrase),
    "/lab/screens/no-pass-phrase" => post(screens::remove_pass_phrase),
    "/lab/screens/idle-time" => post(screens::change_idle_time),
    "/lab/screens/{id}/end" => post(screens::end_session),
}

/// Pages that lay out, edge or compare shapes: tens of milliseconds of computation, beside the threads that answer.
fn computed(handlers: MethodRouter<AppState>) -> MethodRouter<AppState> {
    handlers.layer(from_fn(off_thread::run))
}

/// All pages. The first run stands in front until the lab has a name.
pub fn pages(state: AppState) -> Router {
    routes()
        .route_layer(from_fn_with_state(state.clone(), first_run))
        .merge(first_routes())
        .merge(screen_routes())
        .merge(asset::router())
        .fallback(page::not_found)
        .layer(from_fn(say_on_a_page))
        .layer(from_fn_with_state(state.clone(), ask_pass_phrase))
        .with_state(state)
}

/// Sends everybody to the first run until the lab has a name.
pub async fn first_run(State(state): State<AppState>, request: Request, next: Next) -> Response {
    if state.find_lab().is_none() {
        return Redirect::to("/start").into_response();
    }
    next.run(request).await
}

/// An address or a form that does not parse is refused in a line of plain text before a page is asked. A person gets
/// that as a page, with the way back to the rooms.
async fn say_on_a_page(request: Request, next: Next) -> Response {
    let is_read = request.method() == Method::GET;
    let answer = next.run(request).await;
    let is_plain = answer.headers().get(header::CONTENT_TYPE).is_some_and(|t| t.as_bytes().starts_with(b"text/plain"));
    match answer.status() {
        StatusCode::BAD_REQUEST if is_plain && is_read => WebError::NotFound("This address".to_owned()).into_response(),
        StatusCode::BAD_REQUEST | StatusCode::UNPROCESSABLE_ENTITY if is_plain => WebError::Malformed(
            "This form does not belong to this page. Go back, reload the page and try again.".to_owned(),
        )
        .into_response(),
        _ => answer,
    }
}
