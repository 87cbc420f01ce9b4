//! The house rules, held as tests: where code may look, how long it may be, what it may not say, and that the documents
//! name only what is there.
#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

mod arrows;
mod documents;
mod manifests;
mod shape;
mod sources;
mod words;
