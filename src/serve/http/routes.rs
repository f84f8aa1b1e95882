//! What answers to which address.

use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post, put};

use super::state::Server;
use super::{arrivals, downloads, gate, lap_lists, news, phone, respond, reviews, runs, sheets};
use crate::serve::limits::LARGEST_FORM_BYTES;

/// All addresses, behind the gate. The gate stands before them and not around each of them: it changes the address.
pub fn router(server: Arc<Server>) -> Router {
    let gate = middleware::from_fn_with_state(server.clone(), gate::gate);
    Router::new().fallback_service(addresses().with_state(server)).layer(gate)
}

fn addresses() -> Router<Arc<Server>> {
    Router::new()
        .route("/", get(reviews::weekend))
        .route("/index.html", get(reviews::weekend))
        .route("/sheet", get(sheets::show_form).post(sheets::save_form))
        .route("/sheet-text", get(sheets::show_text).post(sheets::save_text))
        .route("/sheet-back", post(sheets::put_back))
        .route("/run-entry", post(runs::change))
        .route("/leave-out", post(runs::leave_out))
        .route("/two-cars", post(runs::make_two_cars))
        .route("/lap-list", post(lap_lists::choose_run))
        .route("/typed-laps", get(lap_lists::show_laps).post(lap_lists::type_laps))
        .route("/drop", put(arrivals::drop_file))
        .route("/changes", get(news::changes))
        .route("/files", get(downloads::list))
        .route("/file", get(downloads::download))
        .route("/phone", get(phone::show).post(phone::open))
        .route("/live.js", get(respond::live_script))
        .route("/favicon.ico", get(respond::no_content))
        .route("/{page}", get(reviews::run))
        .fallback(|| async { respond::not_found() })
        .layer(DefaultBodyLimit::max(LARGEST_FORM_BYTES))
}
