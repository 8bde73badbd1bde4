//! The truth's marks on a strip: beat codes, P onsets, step labels, times, the legend and the description.

use pulsewright_core::anatomy::AtrialOrigin;
use pulsewright_core::frame::Channel;
use pulsewright_core::time::Instant;
use pulsewright_core::truth::{AtrialBeat, Beat, BeatCode, Event};

use crate::excerpt::Excerpt;
use crate::letters;

/// A beat code in words, as in the open waveform-database annotation set.
pub fn name(code: BeatCode) -> &'static str {
    match code {
        BeatCode::Normal => "normal",
        BeatCode::LeftBundleBranchBlock => "left bundle branch block",
        BeatCode::RightBundleBranchBlock => "right bundle branch block",
        BeatCode::AtrialPremature => "atrial premature",
        BeatCode::AberratedAtrialPremature => "aberrated atrial premature",
        BeatCode::JunctionalPremature => "junctional premature",
        BeatCode::SupraventricularPremature => "supraventricular premature",
        BeatCode::VentricularPremature => "ventricular premature",
        BeatCode::ROnT => "R-on-T ventricular premature",
        BeatCode::Fusion => "fusion of ventricular and normal",
        BeatCode::AtrialEscape => "atrial escape",
        BeatCode::JunctionalEscape => "junctional escape",
        BeatCode::SupraventricularEscape => "supraventricular escape",
        BeatCode::VentricularEscape => "ventricular escape",
        BeatCode::Paced => "paced",
        BeatCode::PacedFusion => "fusion of paced and normal",
        _ => "unclassified",
    }
}

/// Beats whose peak lies within the excerpt: seconds from its start, and code.
pub fn beats(excerpt: &Excerpt) -> Vec<(f64, BeatCode)> {
    let seconds = excerpt.seconds();
    let within = |event: &Event| match event {
        Event::Beat(beat) => Some((excerpt.seconds_to(beat.peak), beat.code)),
        _ => None,
    };
    excerpt.events.iter().filter_map(within).filter(|(at_s, _)| (0.0..seconds).contains(at_s)).collect()
}

/// P onsets within the excerpt, seconds from its start.
pub fn p_onsets(excerpt: &Excerpt) -> Vec<f64> {
    let seconds = excerpt.seconds();
    let within = |event: &Event| match event {
        Event::Atrial(atrial) => Some(excerpt.seconds_to(atrial.onset)),
        _ => None,
    };
    excerpt.events.iter().filter_map(within).filter(|at_s| (0.0..seconds).contains(at_s)).collect()
}

/// Pacing pulses within the excerpt, seconds from its start.
pub fn pulses(excerpt: &Excerpt) -> Vec<f64> {
    let seconds = excerpt.seconds();
    let within = |event: &Event| match event {
        Event::Pace { at, .. } => Some(excerpt.seconds_to(*at)),
        _ => None,
    };
    excerpt.events.iter().filter_map(within).filter(|at_s| (0.0..seconds).contains(at_s)).collect()
}

/// Whether pacing pulses point upwards in a lead: by the samples of a pulse, or of the others where its frames missed it.
pub fn pulse_is_upright(excerpt: &Excerpt, channel: Channel, at_s: f64) -> bool {
    let own = pulse_height(excerpt, channel, at_s);
    if own != 0.0 {
        return own > 0.0;
    }
    pulses(excerpt).into_iter().map(|at_s| pulse_height(excerpt, channel, at_s)).sum::<f64>() >= 0.0
}

/// How far a channel goes within 3 ms of a pulse from where it was before; 0 where no frame met it.
fn pulse_height(excerpt: &Excerpt, channel: Channel, at_s: f64) -> f64 {
    let rate = f64::from(excerpt.rate.as_hz());
    let first = (at_s * rate).ceil() as usize;
    let last = first + (0.003 * rate) as usize;
    let value = |frame: usize| excerpt.frames.get(frame).map(|frame| f64::from(frame.sample(channel)));
    let Some(before) = first.checked_sub(1).and_then(value) else { return 0.0 };
    let heights = (first..=last).filter_map(value).map(|after| after - before);
    let height = heights.max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap_or(0.0);
    // Less than a wave of the heart may do in that time.
    if height.abs() < 0.2 { 0.0 } else { height }
}

/// Medians of the truth's intervals in a line; empty without two beats.
pub fn intervals(excerpt: &Excerpt) -> String {
    let seconds = excerpt.seconds();
    let whole = |event: &Event| match event {
        Event::Beat(beat) if (0.0..seconds).contains(&excerpt.seconds_to(beat.peak)) => Some(*beat),
        _ => None,
    };
    let beats: Vec<Beat> = excerpt.events.iter().filter_map(whole).collect();
    let ms = |from: Instant, to: Instant| 1000.0 * (to.as_secs_f64() - from.as_secs_f64());
    let rr = median(beats.windows(2).map(|pair| ms(pair[0].onset, pair[1].onset)));
    if rr.is_none() {
        return String::new();
    }
    let pr = median(conducted(excerpt, &beats).map(|(p_onset, onset)| ms(p_onset, onset)));
    // Of beats of a recording only the peaks are known.
    let drawn = || beats.iter().filter(|beat| !beat.is_recorded);
    let pairs = beats.windows(2).filter(|pair| pair.iter().all(|beat| !beat.is_recorded));
    let rr_of_drawn = median(pairs.map(|pair| ms(pair[0].onset, pair[1].onset)));
    let qrs = median(drawn().map(|beat| ms(beat.onset, beat.end)));
    let qt = median(drawn().map(|beat| ms(beat.onset, beat.t_end)));
    // Fridericia.
    let qtc = qt.zip(rr_of_drawn).map(|(qt_ms, rr_ms)| qt_ms / (0.001 * rr_ms).cbrt());
    let named = [("RR", rr), ("PR", pr), ("QRS", qrs), ("QT", qt), ("QTc", qtc)];
    let each: Vec<String> =
        named.into_iter().filter_map(|(name, value)| Some(format!("{name} {:.0}", value?))).collect();
    format!("{} ms (medians of the truth)", each.join("  "))
}

/// Onsets of P and QRS of the beats that have a PR interval; none where few have one, as in a tachycardia with captured
/// beats. A flutter wave is no P wave, and in a fused beat another impulse came first.
fn conducted(excerpt: &Excerpt, beats: &[Beat]) -> impl Iterator<Item = (Instant, Instant)> {
    let flutter = |p_onset: Instant| {
        excerpt.events.iter().any(|event| {
            matches!(event, Event::Atrial(AtrialBeat { onset, origin: AtrialOrigin::Flutter }) if *onset == p_onset)
        })
    };
    let own = |beat: &&Beat| !matches!(beat.code, BeatCode::Fusion | BeatCode::PacedFusion);
    let of_beat = |beat: &Beat| Some((beat.p_onset.filter(|p_onset| !flutter(*p_onset))?, beat.onset));
    let pairs: Vec<(Instant, Instant)> = beats.iter().filter(own).filter_map(of_beat).collect();
    let enough = 3 * pairs.len() >= beats.len();
    pairs.into_iter().filter(move |_| enough)
}

fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    // Of an even number, the mean of the middle two.
    let (low, high) = (values.get(values.len().saturating_sub(1) / 2)?, values.get(values.len() / 2)?);
    Some(0.5 * (low + high))
}

/// The seed, and settings of the step in force at the start.
pub fn settings(excerpt: &Excerpt) -> String {
    let step = excerpt.events.iter().find_map(|event| match event {
        Event::Step { item, .. } => Some(*item),
        _ => None,
    });
    let settings = step.and_then(|item| excerpt.settings.get(item)).map_or("", String::as_str);
    match settings {
        "" => format!("seed {}", excerpt.seed),
        settings => format!("seed {}  {settings}", excerpt.seed),
    }
}

/// Steps in force within the excerpt: seconds from its start (below zero for the one before it), and label.
pub fn steps(excerpt: &Excerpt) -> Vec<(f64, &str)> {
    let each = |event: &Event| match event {
        Event::Step { item, at } => {
            let label = excerpt.labels.get(*item).map_or("", String::as_str);
            Some((excerpt.seconds_to(*at), label))
        }
        _ => None,
    };
    excerpt.events.iter().filter_map(each).collect()
}

/// Codes of the excerpt's beats, each once, in order of appearance, with their number.
pub fn tally(excerpt: &Excerpt) -> Vec<(BeatCode, usize)> {
    let mut tally: Vec<(BeatCode, usize)> = Vec::new();
    for (_, code) in beats(excerpt) {
        match tally.iter_mut().find(|(known, _)| *known == code) {
            Some((_, count)) => *count += 1,
            None => tally.push((code, 1)),
        }
    }
    tally
}

/// Meaning of the letters on the strip.
pub fn legend(excerpt: &Excerpt) -> String {
    let mut parts: Vec<String> =
        tally(excerpt).into_iter().map(|(code, _)| format!("{} {}", code.symbol(), name(code))).collect();
    if !p_onsets(excerpt).is_empty() {
        parts.push("p onset of a P wave".into());
    }
    if !pulses(excerpt).is_empty() {
        parts.push("bars pacing pulses, up or down as in the lead, not to scale".into());
    }
    if parts.is_empty() {
        "No beats in this strip.".into()
    } else {
        format!("Marks from the truth: {}.", parts.join(" · "))
    }
}

/// The beats in a sentence: how many of which kind, and their RR intervals.
pub fn spoken(excerpt: &Excerpt) -> String {
    let tally = tally(excerpt);
    if tally.is_empty() {
        return "No beats.".into();
    }
    let kinds: Vec<String> = tally.into_iter().map(|(code, count)| format!("{count} {}", name(code))).collect();
    let times: Vec<f64> = beats(excerpt).into_iter().map(|(at_s, _)| at_s).collect();
    let rr = times.windows(2).map(|pair| pair[1] - pair[0]);
    let (shortest, longest) = rr.fold((f64::INFINITY, 0.0_f64), |(low, high), rr_s| (low.min(rr_s), high.max(rr_s)));
    let intervals =
        if longest > 0.0 { format!(" RR intervals {shortest:.2} to {longest:.2} s.") } else { String::new() };
    let pulses = match pulses(excerpt).len() {
        0 => String::new(),
        count => format!(" {count} pacing pulses."),
    };
    format!("Beats: {}.{intervals}{pulses}", kinds.join(", "))
}

/// Seconds since the start of the script as a short label.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, s) => format!("{s} s"),
        (0, m, s) => format!("{m}:{s:02} min"),
        (h, m, s) => format!("{h}:{m:02}:{s:02}"),
    }
}

/// `words`, cut to fit `room_mm` at this font size; empty when not even a few letters fit.
pub fn cut_to(words: &str, size_mm: f64, room_mm: f64) -> String {
    if letters::width_mm(words, size_mm) <= room_mm {
        return words.into();
    }
    let mut short: String = words.into();
    while short.chars().count() > 3 {
        short.pop();
        let cut = format!("{}…", short.trim_end());
        if letters::width_mm(&cut, size_mm) <= room_mm {
            return cut;
        }
    }
    String::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_read_as_clocks() {
        let read = [0.0, 59.0, 61.0, 3725.0].map(clock);
        assert_eq!(read, ["0 s", "59 s", "1:01 min", "1:02:05"]);
    }

    #[test]
    fn labels_are_cut_to_their_room() {
        assert_eq!(cut_to("Sinus rhythm", 2.6, 100.0), "Sinus rhythm");
        let cut = cut_to("Sinus rhythm", 2.6, 12.0);
        assert!(cut.ends_with('…') && letters::width_mm(&cut, 2.6) <= 12.0, "{cut}");
        assert_eq!(cut_to("Sinus rhythm", 2.6, 2.0), "");
    }
}
