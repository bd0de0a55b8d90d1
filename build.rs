//! Rebuild when a migration changes: `sqlx::migrate!` embeds the folder, which cargo does not watch by itself.
fn main() {
    println!("cargo:rerun-if-changed=migrations");
}
