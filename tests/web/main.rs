//! The pages, tested through the whole router on a temporary book. One module a noun, as in `src/web/page`.

mod shapes;
mod support;
