//! One table in one file, Parquet or CSV: written under another name beside its own, given its name when it is whole.

use super::columns::{Batch, Cells, Column, Holds};
use crate::explain::{Explain, Status};
use parquet::basic::{Compression, Encoding, LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{ColumnPath, Type};
use std::collections::HashMap;
use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Rows that are gathered before they are written: a group of rows of a Parquet file. Memory is bounded by it.
pub const ROWS_AT_ONCE: usize = 1 << 16;

/// How a table is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Apache Parquet.
    Parquet,
    /// Comma-separated values: RFC 4180 with line feeds.
    Csv,
}

impl Form {
    /// The ending of its files.
    pub fn ending(self) -> &'static str {
        match self {
            Form::Parquet => "parquet",
            Form::Csv => "csv",
        }
    }

    /// The form that a file's name asks for.
    pub fn of(path: &Path) -> Option<Form> {
        let ending = path.extension()?.to_string_lossy().to_lowercase();
        [Form::Parquet, Form::Csv].into_iter().find(|form| form.ending() == ending)
    }
}

/// Why a table was not written.
#[derive(Debug, thiserror::Error)]
pub enum TableFileError {
    /// The name's ending is none of a table's.
    #[error("{} is not the name of a table", .0.display())]
    NotATable(PathBuf),
    /// The file is there.
    #[error("{} is already there", .0.display())]
    Exists(PathBuf),
    /// The disk said no.
    #[error("cannot write {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

impl Explain for TableFileError {
    fn status(&self) -> Status {
        match self {
            Self::NotATable(_) | Self::Exists(_) => Status::BadInput,
            Self::Write { .. } => Status::Device,
        }
    }

    fn hint(&self) -> Option<String> {
        match self {
            Self::NotATable(_) => Some("End the name in .csv or .parquet.".into()),
            Self::Exists(_) => Some("Give another name: nothing is written over.".into()),
            Self::Write { .. } => None,
        }
    }
}

/// A table in the making. Dropped before it is published, it leaves nothing behind.
pub struct TableFile {
    columns: &'static [Column],
    sink: Option<Sink>,
    beside: PathBuf,
    path: PathBuf,
}

enum Sink {
    Parquet(Box<SerializedFileWriter<File>>),
    Csv(Box<csv::Writer<BufWriter<File>>>),
}

impl TableFile {
    /// Begins a table that will be at `path`, with facts about it (kept in a Parquet file's own metadata).
    ///
    /// # Errors
    /// Where the file cannot be made.
    pub fn begin(
        path: &Path,
        form: Form,
        name: &str,
        columns: &'static [Column],
        facts: &[(&'static str, String)],
    ) -> Result<Self, TableFileError> {
        let file_name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let beside = path.with_file_name(format!(".{file_name}.part"));
        let mut begun = Self { columns, sink: None, beside, path: path.to_owned() };
        let file = OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .open(&begun.beside)
            .map_err(|e| begun.refused(e))?;
        let sink = match form {
            Form::Parquet => {
                parquet_writer(file, name, columns, facts).map(|writer| Sink::Parquet(Box::new(writer)))
            }
            Form::Csv => {
                let mut writer = csv::Writer::from_writer(BufWriter::new(file));
                let head = writer.write_record(columns.iter().map(|c| c.name)).map_err(io::Error::from);
                head.map(|()| Sink::Csv(Box::new(writer)))
            }
        };
        begun.sink = Some(sink.map_err(|e| begun.refused(e))?);
        Ok(begun)
    }

    fn refused(&self, source: io::Error) -> TableFileError {
        TableFileError::Write { path: self.path.clone(), source }
    }

    /// Appends rows.
    ///
    /// # Errors
    /// Where the disk does not take them.
    pub fn write(&mut self, batch: &Batch<'_>) -> Result<(), TableFileError> {
        let columns = self.columns;
        let written = match &mut self.sink {
            _ if batch.rows() == 0 => Ok(()),
            Some(Sink::Parquet(writer)) => write_group(writer, columns, batch).map_err(told),
            Some(Sink::Csv(writer)) => write_lines(writer, batch).map_err(io::Error::from),
            None => Ok(()),
        };
        written.map_err(|e| self.refused(e))
    }

    /// Ends the table and sees it onto the disk, still under its other name.
    ///
    /// # Errors
    /// Where the disk does not take it.
    pub fn end(&mut self) -> Result<(), TableFileError> {
        let ended = match self.sink.take() {
            Some(Sink::Parquet(mut writer)) => {
                writer.finish().map_err(told).and_then(|_| writer.inner().sync_all())
            }
            Some(Sink::Csv(mut writer)) => {
                writer.flush().and_then(|()| writer.get_ref().get_ref().sync_all())
            }
            None => Ok(()),
        };
        ended.map_err(|e| self.refused(e))
    }

    /// Gives the table its name, in place of what had it.
    ///
    /// # Errors
    /// Where the disk does not take it.
    pub fn publish(mut self) -> Result<(), TableFileError> {
        self.end()?;
        fs::rename(&self.beside, &self.path).map_err(|e| self.refused(e))
    }
}

impl Drop for TableFile {
    fn drop(&mut self) {
        self.sink = None;
        // After publishing it is not there; if it cannot be removed there is nobody to tell.
        let _ = fs::remove_file(&self.beside);
    }
}

fn told(error: ParquetError) -> io::Error {
    match error {
        ParquetError::External(source) => match source.downcast::<io::Error>() {
            Ok(error) => *error,
            Err(other) => io::Error::other(other),
        },
        other => io::Error::other(other),
    }
}

fn parquet_writer(
    file: File,
    name: &str,
    columns: &[Column],
    facts: &[(&'static str, String)],
) -> io::Result<SerializedFileWriter<File>> {
    let fields = columns.iter().map(field).collect::<Result<Vec<_>, _>>().map_err(told)?;
    let schema = Type::group_type_builder(name).with_fields(fields).build().map_err(told)?;
    let facts = facts.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone())).collect();
    let mut properties = WriterProperties::builder()
        .set_created_by(format!("hingeline {}", env!("CARGO_PKG_VERSION")))
        // LZ4_RAW: what every engine reads, and quick.
        .set_compression(Compression::LZ4_RAW)
        .set_key_value_metadata(Some(facts));
    for column in columns.iter().filter(|c| c.holds == Holds::Number) {
        let path = ColumnPath::from(column.name);
        // Readings hardly repeat: the bytes of their floats lie close together by place.
        properties = properties
            .set_column_dictionary_enabled(path.clone(), false)
            .set_column_encoding(path, Encoding::BYTE_STREAM_SPLIT);
    }
    SerializedFileWriter::new(file, Arc::new(schema), Arc::new(properties.build())).map_err(told)
}

fn field(column: &Column) -> Result<Arc<Type>, ParquetError> {
    let (physical, logical) = match column.holds {
        Holds::Number => (Physical::DOUBLE, None),
        Holds::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String)),
        Holds::Instant => (Physical::INT64, Some(LogicalType::timestamp(true, TimeUnit::MICROS))),
    };
    let repetition = if column.may_lack { Repetition::OPTIONAL } else { Repetition::REQUIRED };
    Type::primitive_type_builder(column.name, physical)
        .with_logical_type(logical)
        .with_repetition(repetition)
        .build()
        .map(Arc::new)
}

fn write_group(
    writer: &mut SerializedFileWriter<File>,
    columns: &[Column],
    batch: &Batch<'_>,
) -> Result<(), ParquetError> {
    let mut group = writer.next_row_group()?;
    for (column, cells) in columns.iter().zip(&batch.columns) {
        write_column(&mut group, column, cells)?;
    }
    group.close().map(|_| ())
}

fn write_column(
    group: &mut SerializedRowGroupWriter<'_, File>,
    column: &Column,
    cells: &Cells<'_>,
) -> Result<(), ParquetError> {
    let Some(mut writer) = group.next_column()? else { return Ok(()) };
    match cells {
        Cells::Number(cells) => {
            let (levels, values) = split(column, cells, |v| *v, f64::NAN);
            writer.typed::<DoubleType>().write_batch(&values, levels.as_deref(), None)?;
        }
        Cells::Instant(cells) => {
            let (levels, values) = split(column, cells, |v| *v, 0);
            writer.typed::<Int64Type>().write_batch(&values, levels.as_deref(), None)?;
        }
        Cells::Text(cells) => {
            // Names repeat: one shared copy of each.
            let mut known: HashMap<&str, ByteArray> = HashMap::new();
            let (levels, values) = split(
                column,
                cells,
                |text| known.entry(text).or_insert_with(|| ByteArray::from(*text)).clone(),
                ByteArray::from(""),
            );
            writer.typed::<ByteArrayType>().write_batch(&values, levels.as_deref(), None)?;
        }
    }
    writer.close()
}

/// A column as Parquet wants it: which rows have a cell, and the cells that there are. Where every row must have one, a row
/// without has `blank`.
fn split<'c, T, V: Clone>(
    column: &Column,
    cells: &'c [Option<T>],
    mut value: impl FnMut(&'c T) -> V,
    blank: V,
) -> (Option<Vec<i16>>, Vec<V>) {
    if column.may_lack {
        let levels = cells.iter().map(|cell| i16::from(cell.is_some())).collect();
        (Some(levels), cells.iter().flatten().map(value).collect())
    } else {
        let whole = |cell: &'c Option<T>| cell.as_ref().map_or_else(|| blank.clone(), &mut value);
        (None, cells.iter().map(whole).collect())
    }
}

fn write_lines(writer: &mut csv::Writer<BufWriter<File>>, batch: &Batch<'_>) -> Result<(), csv::Error> {
    for row in 0..batch.rows() {
        for cells in &batch.columns {
            match cells {
                Cells::Number(cells) => {
                    let text = cells.get(row).copied().flatten().map(|v| v.to_string()).unwrap_or_default();
                    writer.write_field(text)?;
                }
                Cells::Text(cells) => {
                    writer.write_field(cells.get(row).copied().flatten().unwrap_or_default())?;
                }
                Cells::Instant(cells) => {
                    let us = cells.get(row).copied().flatten();
                    let text = us.and_then(|us| jiff::Timestamp::from_microsecond(us).ok());
                    writer.write_field(text.map(|t| t.to_string()).unwrap_or_default())?;
                }
            }
        }
        writer.write_record(None::<&[u8]>)?;
    }
    Ok(())
}
