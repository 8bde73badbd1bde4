//! A pack as a Parquet file: a row for each frame, a column for each channel.
//!
//! Flat columns of floats without gaps: pandas, polars and SQL read them as a table, and `pyarrow` as arrays without a copy. Columns of
//! lists, a row for each patient, would need list functions in every reader. `patient` is sorted and has bounds in each row group, so a
//! reader that asks for some patients skips the others.

use crate::error::CohortError;
use crate::parquet_schema::{self, ParquetPart, column};
use crate::plan::CohortPlan;
use crate::record::SAMPLE;
use bytes::Bytes;
use parquet::basic::{Encoding, Repetition, Type as Physical};
use parquet::column::writer::{ColumnCloseResult, get_column_writer, get_typed_column_writer};
use parquet::data_type::{DataType, FloatType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterPropertiesPtr};
use parquet::file::writer::{SerializedFileWriter, SerializedPageWriter, TrackedWrite};
use parquet::schema::types::{ColumnPath, SchemaDescPtr, SchemaDescriptor, TypePtr};
use pulsewright_files::atomic::UnfinishedPart;
use serde_json::{Map, Value};
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

/// Columns before those of the channels.
const BEFORE: usize = 2;

/// The columns of all packs of a plan.
pub(crate) struct PackColumns {
    schema: TypePtr,
    columns: SchemaDescPtr,
    properties: WriterPropertiesPtr,
    channels: usize,
    frames: usize,
}

/// Patients encoded as a row group: the bytes of each column.
pub(crate) struct EncodedPatients(Vec<(Bytes, ColumnCloseResult)>);

impl PackColumns {
    /// For signals of `frames` frames.
    pub(crate) fn new(plan: &CohortPlan, frames: usize) -> Result<PackColumns, CohortError> {
        PackColumns::of(plan, frames).map_err(|error| CohortError::Plan(error.to_string()))
    }

    fn of(plan: &CohortPlan, frames: usize) -> Result<PackColumns, ParquetError> {
        let plain = |name, physical| column(name, physical, None, Repetition::REQUIRED);
        let mut columns = vec![plain("patient", Physical::INT64)?, plain("frame", Physical::INT32)?];
        for channel in &plan.channels {
            columns.push(plain(channel.id(), Physical::FLOAT)?);
        }
        let schema = parquet_schema::schema(columns)?;
        let unit =
            |channel: &pulsewright_core::frame::Channel| (channel.id().to_owned(), Value::from(channel.kind().unit()));
        let units: Map<String, Value> = plan.channels.iter().map(unit).collect();
        let pairs = [
            ("frame_rate_hz", plan.frame_rate.as_hz().to_string()),
            ("frames", frames.to_string()),
            ("units", Value::Object(units).to_string()),
            ("plan", plan.document.to_string()),
        ];
        let mut properties = parquet_schema::properties(&pairs)
            .set_dictionary_enabled(false)
            .set_data_page_row_count_limit(usize::MAX)
            .set_write_batch_size(1 << 16);
        for name in ["patient", "frame"] {
            properties = properties.set_column_encoding(ColumnPath::from(name), Encoding::DELTA_BINARY_PACKED);
        }
        let patient = ColumnPath::from("patient");
        let properties = properties.set_column_statistics_enabled(patient, EnabledStatistics::Chunk).build();
        let columns = Arc::new(SchemaDescriptor::new(schema.clone()));
        Ok(PackColumns { schema, columns, properties: Arc::new(properties), channels: plan.channels.len(), frames })
    }

    /// Starts the file of a pack.
    pub(crate) fn begin(&self, part: UnfinishedPart) -> Result<ParquetPart, CohortError> {
        let path = part.path().to_owned();
        SerializedFileWriter::new(part, self.schema.clone(), self.properties.clone())
            .map_err(parquet_schema::fault(&path))
    }

    /// Encodes the samples of patients, which lie channel after channel.
    pub(crate) fn encode(&self, patients: Range<u64>, samples: &[u8]) -> Result<EncodedPatients, CohortError> {
        let first = patients.start;
        let encoded = self.encoded(patients, samples);
        encoded.map_err(|error| CohortError::Patient { patient: first, what: error.to_string() })
    }

    fn encoded(&self, patients: Range<u64>, samples: &[u8]) -> Result<EncodedPatients, ParquetError> {
        let of_each = |number: u64| std::iter::repeat_n(number as i64, self.frames);
        let numbers: Vec<i64> = patients.clone().flat_map(of_each).collect();
        let places: Vec<i32> = patients.flat_map(|_| 0..self.frames as i32).collect();
        let mut columns = vec![self.chunk::<Int64Type>(0, &numbers)?, self.chunk::<Int32Type>(1, &places)?];
        let mut values = Vec::with_capacity(numbers.len());
        let record = self.frames * self.channels * SAMPLE;
        for channel in 0..self.channels {
            values.clear();
            for patient in samples.chunks_exact(record) {
                let row = &patient[channel * self.frames * SAMPLE..][..self.frames * SAMPLE];
                values.extend(row.as_chunks::<SAMPLE>().0.iter().map(|bytes| f32::from_le_bytes(*bytes)));
            }
            columns.push(self.chunk::<FloatType>(BEFORE + channel, &values)?);
        }
        Ok(EncodedPatients(columns))
    }

    fn chunk<T: DataType>(&self, place: usize, values: &[T::T]) -> Result<(Bytes, ColumnCloseResult), ParquetError> {
        let room = size_of_val(values) + 1024;
        let mut sink = TrackedWrite::new(Vec::with_capacity(room));
        let pages = Box::new(SerializedPageWriter::new(&mut sink));
        let writer = get_column_writer(self.columns.column(place), self.properties.clone(), pages);
        let mut writer = get_typed_column_writer::<T>(writer);
        writer.write_batch(values, None, None)?;
        let closed = writer.close()?;
        Ok((Bytes::from(sink.into_inner()?), closed))
    }
}

impl EncodedPatients {
    /// Appends them to the file of their pack at `path`.
    pub(crate) fn append(self, file: &mut ParquetPart, path: &Path) -> Result<(), CohortError> {
        let appended = || {
            let mut group = file.next_row_group()?;
            for (bytes, closed) in self.0 {
                group.append_column(&bytes, closed)?;
            }
            group.close().map(|_| ())
        };
        appended().map_err(parquet_schema::fault(path))
    }
}
