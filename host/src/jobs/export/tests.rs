//! Names in paths, files whole or not at all; what engines read back is tested with engines, in `tests/tests/engines/`.

use super::columns::{Batch, Cell, Column};
use super::file::{Form, TableFile, TableFileError};
use super::*;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use std::fs::File;

const COLUMNS: &[Column] = &[
    Column::number("t_s"),
    Column::text("link").or_none(),
    Column::number("u").or_none(),
    Column::instant("started").or_none(),
];

fn batch<'a>() -> Batch<'a> {
    let mut batch = Batch::new(COLUMNS);
    batch.push([0.5.into(), Cell::Text(None), Cell::Number(Some(f64::INFINITY)), Cell::Instant(None)]);
    batch.push([1.5.into(), "upper, left".into(), 0.25.into(), Cell::Instant(Some(1_000_000))]);
    batch
}

fn written(folder: &Path, form: Form) -> PathBuf {
    let path = folder.join(format!("data.{}", form.ending()));
    let facts = [("format", "1".to_owned())];
    let mut file = TableFile::begin(&path, form, "numbers", COLUMNS, &facts).unwrap();
    file.write(&batch()).unwrap();
    assert!(!path.exists(), "it has no name before it is whole");
    file.publish().unwrap();
    path
}

#[test]
fn cells_that_lack_and_facts_come_back_from_parquet() {
    let folder = tempfile::tempdir().unwrap();
    let reader =
        SerializedFileReader::new(File::open(written(folder.path(), Form::Parquet)).unwrap()).unwrap();
    let facts = reader.metadata().file_metadata().key_value_metadata().unwrap();
    assert!(facts.iter().any(|f| f.key == "format" && f.value.as_deref() == Some("1")));
    let rows: Vec<Vec<Field>> = reader
        .get_row_iter(None)
        .unwrap()
        .map(|row| row.unwrap().get_column_iter().map(|(_, field)| field.clone()).collect())
        .collect();
    assert_eq!(
        rows,
        [
            [Field::Double(0.5), Field::Null, Field::Null, Field::Null],
            [
                Field::Double(1.5),
                Field::Str("upper, left".into()),
                Field::Double(0.25),
                Field::TimestampMicros(1_000_000)
            ]
        ]
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
}

#[test]
fn the_same_rows_as_lines() {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(written(folder.path(), Form::Csv)).unwrap();
    assert_eq!(text, "t_s,link,u,started\n0.5,,,\n1.5,\"upper, left\",0.25,1970-01-01T00:00:01Z\n");
}

#[test]
fn a_table_that_is_given_up_leaves_nothing_and_spares_what_was_there() {
    let folder = tempfile::tempdir().unwrap();
    let path = written(folder.path(), Form::Csv);
    let before = fs::read(&path).unwrap();
    let mut file = TableFile::begin(&path, Form::Csv, "numbers", COLUMNS, &[]).unwrap();
    file.write(&batch()).unwrap();
    drop(file);
    assert_eq!(fs::read(&path).unwrap(), before);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    let nowhere = folder.path().join("none/data.csv");
    assert!(matches!(
        TableFile::begin(&nowhere, Form::Csv, "numbers", COLUMNS, &[]),
        Err(TableFileError::Write { .. })
    ));
}

#[test]
fn names_become_parts_of_paths_that_engines_read_back() {
    assert_eq!(escaped("Bramble"), "Bramble");
    assert_eq!(escaped("Käfer 2"), "Käfer 2");
    assert_eq!(escaped("50% = a/b"), "50%25 %3D a%2Fb");
    let wanted = Wanted::at(Path::new("shed/Bramble/runs/2026-11-25-1412-ramp"));
    assert_eq!((wanted.vehicle.as_str(), wanted.run.as_str()), ("Bramble", "2026-11-25-1412-ramp"));
}
