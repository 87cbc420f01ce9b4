//! Tables for other programs: SI, one row per value, a header row, commas.

use crate::jobs::history::Listing;

/// Columns of a history.
pub const HISTORY_COLUMNS: [&str; 18] = [
    "vehicle",
    "run",
    "started",
    "test",
    "axle",
    "quantity",
    "element",
    "value",
    "u",
    "status",
    "noise",
    "mount",
    "scale",
    "zero",
    "heading",
    "model",
    "vehicle_hash",
    "rig_hash",
];

/// Every value of a listing; a run that could not be measured has one row with the reason as its status.
pub fn history(listing: &Listing) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    // Writing to memory cannot fail, and every row has as many cells as the header.
    let _ = table.write_record(HISTORY_COLUMNS);
    let cell = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
    for listed in &listing.runs {
        let facts = &listed.run.facts;
        let head =
            [&facts.vehicle, &facts.run, &facts.started, facts.test.as_ref().unwrap_or(&String::new())]
                .map(String::clone);
        let tail = [facts.design_hash.clone(), facts.rig_hash.clone()];
        if let Some(problem) = &facts.problem {
            let mut row = head.to_vec();
            row.extend(std::iter::repeat_n(String::new(), 5));
            row.push(problem.clone());
            row.extend(std::iter::repeat_n(String::new(), 6));
            row.extend(tail.clone());
            let _ = table.write_record(row);
        }
        for (axle, entry) in &listed.entries {
            let mut row = head.to_vec();
            let (measured, quantity) = (&entry.measured, &entry.quantity);
            row.extend([axle.clone(), quantity.name().to_owned(), quantity.element().to_owned()]);
            row.extend([cell(measured.value), cell(measured.u), measured.status.word().to_owned()]);
            let parts = entry.budget.map(|b| [b.noise, b.mount, b.scale, b.zero, b.heading, b.model]);
            row.extend((0..6).map(|k| cell(parts.map(|p| p[k]))));
            row.extend(tail.clone());
            let _ = table.write_record(row);
        }
    }
    table.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
