//! The index of the patients as a Parquet file: the columns of the CSV index, empty where a value is not drawn.

use crate::error::CohortError;
use crate::folder::{INDEX_COLUMNS, Packs};
use crate::parquet_schema::{self, ParquetPart, column, fault};
use crate::people::Patient;
use crate::plan::CohortPlan;
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, FloatType, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::writer::SerializedFileWriter;
use pulsewright_files::atomic::{FinishedPart, UnfinishedPart};
use std::path::PathBuf;
use std::sync::Arc;

/// Patients of a row group, which are held until it is full.
const ROWS: usize = 1 << 16;

/// The index being written.
pub(crate) struct ParquetIndex {
    file: ParquetPart,
    path: PathBuf,
    columns: Vec<IndexColumn>,
    rows: usize,
}

/// The values of a column in the present row group.
enum IndexColumn {
    Number(Vec<i64>),
    Word(Vec<ByteArray>),
    /// The drawn values, and for each row whether it has one.
    Drawn(Vec<f32>, Vec<i16>),
}

impl ParquetIndex {
    /// Starts the index of a plan.
    pub(crate) fn begin(plan: &CohortPlan, part: UnfinishedPart) -> Result<ParquetIndex, CohortError> {
        let path = part.path().to_owned();
        ParquetIndex::of(plan, part, path.clone()).map_err(fault(&path))
    }

    fn of(plan: &CohortPlan, part: UnfinishedPart, path: PathBuf) -> Result<ParquetIndex, ParquetError> {
        let word = || Some(LogicalType::String);
        let mut types = Vec::new();
        let mut columns = Vec::new();
        for name in INDEX_COLUMNS {
            let (physical, logical) = match name {
                "pack" | "group" | "rhythm" | "body" => (Physical::BYTE_ARRAY, word()),
                // A seed takes all 64 bits.
                "seed" => (Physical::INT64, Some(LogicalType::integer(64, false))),
                _ => (Physical::INT64, None),
            };
            types.push(column(name, physical, logical, Repetition::REQUIRED)?);
            let is_word = physical == Physical::BYTE_ARRAY;
            columns.push(if is_word { IndexColumn::Word(Vec::new()) } else { IndexColumn::Number(Vec::new()) });
        }
        for name in plan.people.names() {
            types.push(column(name, Physical::FLOAT, None, Repetition::OPTIONAL)?);
            columns.push(IndexColumn::Drawn(Vec::new(), Vec::new()));
        }
        let properties = parquet_schema::properties(&[("plan", plan.document.to_string())]).build();
        let file = SerializedFileWriter::new(part, parquet_schema::schema(types)?, Arc::new(properties))?;
        Ok(ParquetIndex { file, path, columns, rows: 0 })
    }

    /// Appends a patient.
    pub(crate) fn put(&mut self, patient: &Patient, packs: &Packs) -> Result<(), CohortError> {
        let (pack, row) = packs.place(patient.number);
        let pack = packs.name(pack);
        for (name, column) in INDEX_COLUMNS.into_iter().zip(&mut self.columns) {
            match column {
                IndexColumn::Word(words) => words.push(ByteArray::from(match name {
                    "pack" => pack.as_str(),
                    "group" => &patient.group,
                    "rhythm" => patient.rhythm.id,
                    _ => patient.body.id,
                })),
                IndexColumn::Number(numbers) => numbers.push(match name {
                    "patient" => patient.number as i64,
                    "row" => row as i64,
                    "seed" => patient.seed.cast_signed(),
                    _ => i64::from(patient.redraws),
                }),
                IndexColumn::Drawn(..) => {}
            }
        }
        for (value, column) in patient.values.iter().zip(self.columns.iter_mut().skip(INDEX_COLUMNS.len())) {
            if let IndexColumn::Drawn(values, drawn) = column {
                values.extend(*value);
                drawn.push(i16::from(value.is_some()));
            }
        }
        self.rows += 1;
        if self.rows == ROWS { self.end_group() } else { Ok(()) }
    }

    fn end_group(&mut self) -> Result<(), CohortError> {
        self.rows = 0;
        write_group(&mut self.file, &mut self.columns).map_err(fault(&self.path))
    }

    /// Closes the file.
    pub(crate) fn finish(mut self) -> Result<FinishedPart, CohortError> {
        if self.rows > 0 {
            self.end_group()?;
        }
        parquet_schema::finish(self.file, &self.path)
    }
}

fn write_group(file: &mut ParquetPart, columns: &mut [IndexColumn]) -> Result<(), ParquetError> {
    let mut group = file.next_row_group()?;
    for values in columns {
        let Some(mut column) = group.next_column()? else { break };
        match values {
            IndexColumn::Number(numbers) => {
                column.typed::<Int64Type>().write_batch(numbers, None, None)?;
                numbers.clear();
            }
            IndexColumn::Word(words) => {
                column.typed::<ByteArrayType>().write_batch(words, None, None)?;
                words.clear();
            }
            IndexColumn::Drawn(values, drawn) => {
                column.typed::<FloatType>().write_batch(values, Some(drawn), None)?;
                values.clear();
                drawn.clear();
            }
        }
        column.close()?;
    }
    group.close().map(|_| ())
}
