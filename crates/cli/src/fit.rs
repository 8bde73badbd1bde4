//! `fit`: a body's document of a recording.

use crate::diagnostics::VerbOutcome;
use pulsewright_core::body::Body;
use pulsewright_core::frame::Lead;
use std::path::PathBuf;

/// A body to make.
#[cfg_attr(not(feature = "fit"), allow(dead_code))]
pub struct Request {
    /// The recording.
    pub recording: PathBuf,
    /// Document to write; `-` is standard output.
    pub output: PathBuf,
    /// Its beats.
    pub annotations: Option<PathBuf>,
    /// Only these leads.
    pub leads: Option<Vec<Lead>>,
    /// Samples a second of a CSV without times.
    pub hz: Option<f64>,
    /// Name of the body.
    pub name: String,
    /// The body that has the rest.
    pub extends: &'static Body,
    /// Whether a file that is there may be replaced.
    pub force: bool,
}

/// Says how to build a program that has it.
#[cfg(not(feature = "fit"))]
pub fn run(_: Request) -> VerbOutcome {
    Err(crate::diagnostics::VerbFailure::input(
        "this program was built without the fit of recordings; `cargo install --path crates/cli --features fit` builds it with it",
    ))
}

#[cfg(feature = "fit")]
pub use built::run;

#[cfg(feature = "fit")]
mod built {
    use super::{Request, VerbOutcome};
    use crate::diagnostics::{VerbFailure, print, print_document, say};
    use crate::output::claim;
    use crate::table::write_table;
    use pulsewright_fit::{FittedBeats, beats, document, fit, leads, read};
    use pulsewright_score::read::{ReadOptions, read_annotations};
    use pulsewright_text::source;
    use std::io::{self, Write};
    use std::path::Path;

    /// Fits the body, writes its document and prints what is left over.
    pub fn run(args: Request) -> VerbOutcome {
        let beside = args.recording.with_extension("atr");
        let annotations = args.annotations.or_else(|| beside.exists().then_some(beside));
        let inputs = [Some(args.recording.as_path()), annotations.as_deref()];
        let set = claim(&[&args.output], inputs.into_iter().flatten(), args.force)?;
        let mut recording = read::recording(&args.recording, args.hz).map_err(VerbFailure::input)?;
        if let Some(leads) = &args.leads {
            let absent = |what| VerbFailure::input(format!("{}: {what}", source::name(&args.recording)));
            recording = recording.with_leads(leads).map_err(absent)?;
        }
        let beats = match &annotations {
            Some(path) => {
                let options = ReadOptions { rate_hz: None, is_reference: true, ..ReadOptions::default() };
                beats::annotated(&recording, &read_annotations(path, &options).map_err(VerbFailure::input)?)
            }
            None => beats::found(&recording),
        };
        let wrong = |error| VerbFailure::input(format!("{}: {error}", source::name(&args.recording)));
        let fitted = fit(&recording, &beats, &args.name, args.extends.id).map_err(wrong)?;
        let document = document::text(&fitted.document);
        if args.output == Path::new("-") {
            let mut table = Vec::new();
            write_report(&mut table, &fitted.kinds).map_err(|error| VerbFailure::output(&error))?;
            say(String::from_utf8_lossy(&table).trim_end());
            return print_document(|out| out.write_all(document.as_bytes()));
        }
        set.write(&[(&args.output, document.as_bytes())]).map_err(VerbFailure::input)?;
        print(|out| write_report(out, &fitted.kinds))
    }

    fn write_report(out: &mut impl Write, kinds: &[FittedBeats]) -> io::Result<()> {
        let heads = [
            "beats",
            "used",
            "left out",
            "lead",
            "left over uV",
            "correlation",
            "of the vector",
            "largest mV",
            "played mV",
            "spread uV",
        ];
        let rows = kinds.iter().flat_map(|kind| {
            let [word, used, out] = [kind.pathway.to_owned(), kind.used.to_string(), kind.left_out.to_string()];
            if kind.left_over.is_empty() {
                let few = "too few alike: shape of the body that it extends".to_owned();
                return vec![vec![word, used, out, few]];
            }
            let row = |left: &pulsewright_fit::LeadResidual| {
                let [largest, played] = left.largest_mv.map(|mv| format!("{mv:.3}"));
                let [over, spread] = [left.rms_mv, left.spread_mv].map(|mv| format!("{:.0}", 1000.0 * mv));
                let [alike, of_vector] = [left.correlation, left.of_vector].map(|share| format!("{share:.4}"));
                let lead = leads::id(left.lead).to_owned();
                vec![word.clone(), used.clone(), out.clone(), lead, over, alike, of_vector, largest, played, spread]
            };
            kind.left_over.iter().map(row).collect()
        });
        write_table(out, &heads, &rows.collect::<Vec<_>>())
    }
}
