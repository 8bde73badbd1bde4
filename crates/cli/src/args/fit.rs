//! `fit`.

use super::values::{self, Leads};
use crate::fit::Request;
use clap::Args;
use pulsewright_core::body::Body;
use std::path::PathBuf;

/// Make a body of a recording: the average of its beats, kind by kind, as waves on the heart vector.
///
/// It prints the residual of each lead. The document has shapes, intervals and the resting rate of a person's heart: you need
/// the right to use the recording for it.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  pulsewright fit 100.hea -o person.json\n  \
    pulsewright fit clinic.csv --hz 500 --leads II,V2,V5 --name \"Patient A\" -o person.json\n\n\
    Then in a script: \"bodies\": {\"person\": \"person.json\"}, and \"body\": \"person\" in a step.")]
pub struct FitFlags {
    /// The recording: a header of the open waveform database (.hea), EDF (.edf) or CSV (.csv).
    recording: PathBuf,
    /// The body's document to write; - is standard output.
    #[arg(short, long, value_name = "OUT")]
    output: PathBuf,
    /// Beats with their kinds: an annotation file or a table. Without it, the file .atr beside the recording, else beats are looked
    /// for in the signal.
    #[arg(long, value_name = "FILE")]
    annotations: Option<PathBuf>,
    /// Only these leads, as II,V2,V5; without it all of the standard twelve that the recording has.
    #[arg(long, value_name = "LEADS", value_parser = values::recorded_leads)]
    leads: Option<Leads>,
    /// Samples a second of a CSV without times.
    #[arg(long, value_name = "HZ", value_parser = values::number)]
    hz: Option<f64>,
    /// Name of the body, as printed.
    #[arg(long, default_value = "Fitted", value_name = "TEXT")]
    name: String,
    /// The body that has the rest: pressures, breathing, kinds of beats that the recording lacks.
    #[arg(long, default_value = "adult", value_name = "BODY", value_parser = values::body)]
    extends: &'static Body,
    /// Overwrite a file that is there.
    #[arg(long)]
    force: bool,
}

impl FitFlags {
    /// The request.
    pub fn request(self) -> Request {
        Request {
            recording: self.recording,
            output: self.output,
            annotations: self.annotations,
            leads: self.leads.map(|leads| leads.0),
            hz: self.hz,
            name: self.name,
            extends: self.extends,
            force: self.force,
        }
    }
}
