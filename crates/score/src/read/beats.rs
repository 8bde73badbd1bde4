//! The meaning of the columns of a table of beats.

use crate::annotations::{AnnotatedEpisode, Annotation, Annotations, EpisodeKind, TimeRange};
use crate::codes::is_code;
use crate::instant::RecordInstant;

use super::options::{ReadOptions, TimeUnit};
use pulsewright_text::fit::cut;
use pulsewright_text::number::short;
use pulsewright_text::table::{InputPosition, Table, TableProblem, TableRow};

/// Column names that name their unit, best first.
const TIME_COLUMNS: [(&str, TimeUnit); 20] = [
    ("time_s", TimeUnit::S),
    ("t_s", TimeUnit::S),
    ("seconds", TimeUnit::S),
    ("sec", TimeUnit::S),
    ("time", TimeUnit::S),
    ("t", TimeUnit::S),
    ("time (s)", TimeUnit::S),
    ("time_ms", TimeUnit::Ms),
    ("t_ms", TimeUnit::Ms),
    ("ms", TimeUnit::Ms),
    ("time (ms)", TimeUnit::Ms),
    ("milliseconds", TimeUnit::Ms),
    ("frame", TimeUnit::Frame),
    ("frames", TimeUnit::Frame),
    ("sample", TimeUnit::Frame),
    ("samples", TimeUnit::Frame),
    ("index", TimeUnit::Frame),
    ("peak", TimeUnit::Frame),
    ("peaks", TimeUnit::Frame),
    ("r_peak", TimeUnit::Frame),
];

const CODE_COLUMNS: [&str; 5] = ["code", "symbol", "label", "annotation", "class"];

/// A column of times with its unit.
pub(crate) struct TimeColumn {
    column: usize,
    unit: TimeUnit,
    rate_hz: f64,
}

impl TimeColumn {
    /// Finds the times of a table, by the options or by the usual names.
    pub(crate) fn find(table: &Table, options: &ReadOptions) -> Result<TimeColumn, TableProblem> {
        let wrong = |what: String| Err(TableProblem::new(InputPosition::Whole, what));
        let (column, named) = match (&options.time_column, &table.columns) {
            (Some(name), _) => (table.required(&[name])?, unit_of_name(name)),
            (None, None) => (0, None),
            (None, Some(columns)) => {
                // With a unit asked for, only columns of that unit (or without one) will do.
                let fits = |unit: TimeUnit| options.unit.is_none_or(|wanted| wanted == unit);
                let found = TIME_COLUMNS
                    .iter()
                    .filter(|(_, unit)| fits(*unit))
                    .find_map(|(name, unit)| Some((table.column(&[name])?, *unit)));
                match (found, columns.len()) {
                    (Some((column, unit)), _) => (column, Some(unit)),
                    (None, 1) => (0, unit_of_name(columns[0].trim())),
                    (None, _) => {
                        return wrong(format!(
                            "no column of times; {}; usual names are time_s, time_ms, frame, sample",
                            table.columns_listed()
                        ));
                    }
                }
            }
        };
        let Some(unit) = options.unit.or(named) else {
            return wrong("no column name gives the unit of the times; name it: s, ms or frame".into());
        };
        let rate_hz = match (unit, options.rate_hz) {
            (TimeUnit::S, _) => 1.0,
            (TimeUnit::Ms, _) => 1000.0,
            (TimeUnit::Frame, Some(rate_hz)) => rate_hz,
            (TimeUnit::Frame, None) => {
                return wrong("times are in frames; give the frame rate in Hz".into());
            }
        };
        Ok(TimeColumn { column, unit, rate_hz })
    }

    /// The time of a row; an error if missing, not a number or out of range.
    pub(crate) fn instant(&self, table: &Table, row: &TableRow<'_>) -> Result<RecordInstant, TableProblem> {
        let value = table.required_number(row, self.column)?;
        let whole = self.unit == TimeUnit::Frame && value.fract() == 0.0 && value.abs() < 9e15;
        let at = if whole {
            RecordInstant::from_frame(value as i64, self.rate_hz)
        } else if self.rate_hz > 0.0 {
            RecordInstant::from_s(value / self.rate_hz)
        } else {
            None
        };
        at.ok_or_else(|| TableProblem::new(row.place, format!("time {} is out of range", short(value))))
    }
}

fn unit_of_name(name: &str) -> Option<TimeUnit> {
    TIME_COLUMNS.iter().find(|(known, _)| known.eq_ignore_ascii_case(name)).map(|(_, unit)| *unit)
}

/// Beats of a table; rows with codes that are no beats mark rhythms and signal quality as in annotation files.
///
/// Rows of a reference whose column `measured` says `no` do not count. Rows whose time is empty are an error, so that a shifted column
/// is not taken for a quiet detector.
///
/// # Errors
/// No column of times, broken rows, events of several channels; an empty reference.
pub fn from_table(table: &Table, options: &ReadOptions) -> Result<Annotations, TableProblem> {
    if table.is_blank() {
        if options.is_reference {
            return Err(TableProblem::new(
                InputPosition::Whole,
                "the reference is empty: neither events nor names of columns",
            ));
        }
        return Ok(Annotations { labelled: false, ..Annotations::default() });
    }
    let times = TimeColumn::find(table, options)?;
    let code = match &options.code_column {
        Some(name) => Some(table.required(&[name])?),
        None if options.times_only => None,
        None => table.column(&CODE_COLUMNS),
    };
    let subtype = table.column(&["subtype"]);
    let aux = table.column(&["aux", "aux_note", "rhythm"]);
    // The signal does not show such an event, as a breath while an electrode is off; no detector can find it.
    let measured = table.column(&["measured"]).filter(|_| options.is_reference);
    let mut channels = Channels::find(table, options)?;
    let mut annotations = Vec::new();
    table.rows(|row| {
        if !channels.wants(row) || measured.is_some_and(|column| row.cell(column) == "no") {
            return Ok(());
        }
        let at = times.instant(table, row)?;
        let code = match code {
            Some(column) => beat_code(row, column)?,
            None => 'N',
        };
        let subtype = match subtype {
            Some(column) => table.number(row, column)?.unwrap_or(0.0).clamp(-128.0, 127.0) as i8,
            None => 0,
        };
        let aux = aux.map_or("", |column| row.cell(column)).to_owned();
        annotations.push(Annotation { at, code, subtype, aux });
        Ok(())
    })?;
    channels.check()?;
    Ok(Annotations::from_annotations(annotations, code.is_some() && !table.is_empty()))
}

/// Rows of the channel asked for. More than one channel without asking is an error: their events would mix.
struct Channels<'o> {
    column: Option<usize>,
    asked: Option<&'o str>,
    /// Names met so far, the first of them.
    met: Vec<String>,
}

impl<'o> Channels<'o> {
    /// Most names listed.
    const LISTED: usize = 20;

    fn find(table: &Table, options: &'o ReadOptions) -> Result<Channels<'o>, TableProblem> {
        let column = table.column(&["channel"]);
        let asked = options.channel.as_deref();
        match asked {
            Some(name) if column.is_none() => Err(TableProblem::new(
                InputPosition::Whole,
                format!("no column channel to look for '{}' in", cut(name, 40)),
            )),
            _ => Ok(Channels { column, asked, met: Vec::new() }),
        }
    }

    fn wants(&mut self, row: &TableRow<'_>) -> bool {
        let Some(column) = self.column else { return true };
        let name = row.cell(column);
        if self.met.len() < Self::LISTED && !self.met.iter().any(|met| met == name) {
            self.met.push(name.to_owned());
        }
        self.asked.is_none_or(|asked| asked == name)
    }

    fn check(&self) -> Result<(), TableProblem> {
        let names = || self.met.iter().map(|name| cut(name, 40)).collect::<Vec<_>>().join(", ");
        let what = match self.asked {
            Some(asked) if !self.met.is_empty() && !self.met.iter().any(|met| met == asked) => {
                format!("no channel '{}'; channels are {}", cut(asked, 40), names())
            }
            None if self.met.len() > 1 => format!("events of more than one channel; choose one of {}", names()),
            _ => return Ok(()),
        };
        Err(TableProblem::new(InputPosition::Whole, what))
    }
}

fn beat_code(row: &TableRow<'_>, column: usize) -> Result<char, TableProblem> {
    let cell = row.cell(column);
    let mut letters = cell.chars();
    match (letters.next(), letters.next()) {
        (None, _) => Ok('N'),
        (Some(code), None) if is_code(code) => Ok(code),
        _ => {
            let what = format!("'{}' is not a code of the open annotation table (N, V, A, / and so on)", cut(cell, 40));
            Err(TableProblem::new(row.place, what))
        }
    }
}

/// Episodes of a table with columns `kind`, `start_s` and `end_s` (an empty end: to the end of the record).
///
/// # Errors
/// Missing columns, broken rows.
pub fn episodes_from_table(table: &Table) -> Result<Vec<AnnotatedEpisode>, TableProblem> {
    if table.is_blank() {
        return Ok(Vec::new());
    }
    let kind = table.required(&["kind", "episode"])?;
    let start = table.required(&["start_s", "from_s", "time_s"])?;
    let end = table.required(&["end_s", "to_s"])?;
    let mut episodes = Vec::new();
    table.rows(|row| {
        let name = row.cell(kind);
        // Truth of kinds that are not scored.
        if ["other", "st-shift", "noise", "lead-off"].contains(&name) {
            return Ok(());
        }
        let Some(kind) = EpisodeKind::of_name(name) else {
            let what =
                format!("'{}' is not an episode; allowed: vf, af, atrial-flutter, asystole, apnoea", cut(name, 40));
            return Err(TableProblem::new(row.place, what));
        };
        let at = |s: f64| {
            RecordInstant::from_s(s)
                .ok_or_else(|| TableProblem::new(row.place, format!("time {} is out of range", short(s))))
        };
        let from = at(table.required_number(row, start)?)?;
        let to = table.number(row, end)?.map(at).transpose()?.unwrap_or(RecordInstant::END);
        if to < from {
            return Err(TableProblem::new(row.place, "the episode ends before it starts"));
        }
        episodes.push(AnnotatedEpisode { kind, stretch: TimeRange { from, to } });
        Ok(())
    })?;
    Ok(episodes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulsewright_text::table;

    fn times(text: &str, options: &ReadOptions) -> Result<Vec<(f64, char)>, TableProblem> {
        let table = if text.starts_with(['[', '{']) {
            table::parse_json(text)?
        } else {
            table::parse(text, options.delimiter)?
        };
        Ok(from_table(&table, options)?.beats.iter().map(|b| (b.at.s(), b.code)).collect())
    }

    #[test]
    fn every_episode_of_the_truth_is_scored_or_passed_over() {
        let text =
            "start_s,end_s,episode\n1,2,ventricular-flutter\n3,4,noise\n5,6,lead-off\n7,8,st-shift\n9,10,apnoea\n";
        let episodes = episodes_from_table(&table::parse(text, None).unwrap()).unwrap();
        let kinds: Vec<EpisodeKind> = episodes.iter().map(|episode| episode.kind).collect();
        assert_eq!(kinds, [EpisodeKind::Vf, EpisodeKind::Apnoea]);
        let strange = table::parse("start_s,end_s,episode\n1,2,dance\n", None).unwrap();
        assert!(episodes_from_table(&strange).is_err());
    }

    #[test]
    fn units_by_name_or_option() {
        let plain = ReadOptions::default();
        let frames = ReadOptions { rate_hz: Some(250.0), ..ReadOptions::default() };
        let unit = |unit| ReadOptions { unit: Some(unit), ..frames.clone() };
        let expected = Ok(vec![(0.5, 'N'), (1.5, 'N')]);
        assert_eq!(times("time_s\n0.5\n1.5\n", &plain), expected);
        assert_eq!(times("Time_ms\n500\n1500\n", &plain), expected);
        assert_eq!(times("sample\n125\n375\n", &frames), expected);
        assert_eq!(times("125\n375\n", &unit(TimeUnit::Frame)), expected);
        assert_eq!(times("[500, 1500]", &unit(TimeUnit::Ms)), expected);
        assert_eq!(
            times(
                "when;what\n0,5;N\n1,5;N\n",
                &ReadOptions {
                    time_column: Some("when".into()),
                    code_column: Some("what".into()),
                    unit: Some(TimeUnit::S),
                    ..plain.clone()
                }
            ),
            expected
        );
        assert_eq!(times("time_s,frame,code\n9,125,N\n9,375,N\n", &unit(TimeUnit::Frame)), expected);
    }

    #[test]
    fn a_reference_must_say_something() {
        let reference = ReadOptions { is_reference: true, ..ReadOptions::default() };
        for text in ["", "\n# nothing\n", "[]", "<html>", "<html>\n", "a,b\n"] {
            assert!(times(text, &reference).is_err(), "{text}");
        }
        // A header alone is a record without beats, or a detector that found nothing.
        assert_eq!(times("time_s,code\n", &reference), Ok(vec![]));
        assert_eq!(times("", &ReadOptions::default()), Ok(vec![]));
        assert!(times("<html>", &ReadOptions::default()).is_err());
    }

    #[test]
    fn truth_columns() {
        let text = "# made for the test\ntime_s,frame,code,rr_s\n0.500000,250,N,\n1.300000,650,V,0.8\n";
        assert_eq!(times(text, &ReadOptions::default()), Ok(vec![(0.5, 'N'), (1.3, 'V')]));
    }

    #[test]
    fn channels_do_not_mix() {
        let text = "time_s,channel\n1,abp\n2,pap\n3,abp\n";
        let channel = |name: &str| ReadOptions { channel: Some(name.into()), ..ReadOptions::default() };
        assert_eq!(times(text, &channel("abp")), Ok(vec![(1.0, 'N'), (3.0, 'N')]));
        assert!(times(text, &channel("cvp")).expect_err("unknown").what.contains("abp, pap"));
        assert!(times(text, &ReadOptions::default()).is_err());
        assert!(times("time_s,channel\n1,abp\n", &ReadOptions::default()).is_ok());
    }

    #[test]
    fn mistakes_are_told() {
        let plain = ReadOptions::default();
        let check = |text: &str, options: &ReadOptions, place, part: &str| {
            let problem = times(text, options).expect_err("must fail");
            assert_eq!(problem.place, place, "{problem}");
            assert!(problem.what.contains(part), "{problem}");
        };
        check("1\n2\n", &plain, InputPosition::Whole, "unit");
        check("[1,2]", &plain, InputPosition::Whole, "unit");
        check("sample\n1\n", &plain, InputPosition::Whole, "frame rate");
        check("a,b\n1,2\n", &plain, InputPosition::Whole, "no column of times");
        check("time_s,code\n1,N\n,N\n", &plain, InputPosition::Line(3), "missing");
        check("time_s,code\n1,N\n2,hello\n", &plain, InputPosition::Line(3), "hello");
        check("time_s\n1e30\n", &plain, InputPosition::Line(2), "out of range");
        check(
            "sample\n5\n",
            &ReadOptions { rate_hz: Some(0.0), ..plain.clone() },
            InputPosition::Line(2),
            "out of range",
        );
        check(
            "time_s\n5\n",
            &ReadOptions { time_column: Some("x".into()), ..plain.clone() },
            InputPosition::Whole,
            "no column x",
        );
    }

    #[test]
    fn episode_tables() {
        let table = table::parse("kind,start_s,end_s\nvf,1,2\nasystole,5,\n", None).expect("reads");
        let episodes = episodes_from_table(&table).expect("reads");
        assert_eq!(episodes.len(), 2);
        assert_eq!(episodes[1].stretch.to, RecordInstant::END);
        let bad = table::parse("kind,start_s,end_s\nvf,3,2\n", None).expect("reads");
        assert!(episodes_from_table(&bad).is_err());
    }
}
