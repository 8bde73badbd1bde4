//! Blocks: consecutive frames, signal by signal.
//!
//! A desk computer works on a signal in steps of several values when they stand side by side. The player fills a block
//! with the bits that it fills [`Frame`]s with; `Rows` is what both have in common.

use crate::anatomy::PressureSite;
use crate::ecg::leads::{DOWER, lead_of, leads_of};
use crate::frame::{self, Channel, Electrode, Frame, INDEPENDENT_LEADS, Lead};
use crate::segment::Segment;
use crate::site_set::SiteSet;
use crate::vectors::{self, Loop};

/// Frames in a block at most.
pub const BLOCK: usize = 256;

/// Which signals a block holds; the others stay zero and cost nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Signals {
    /// The electrocardiogram.
    pub ecg: bool,
    /// Leads III, aVR, aVL and aVF, which are worked out of I and II.
    pub limb_leads: bool,
    /// Electrodes of the limbs, which are worked out of leads I and II.
    pub limb_electrodes: bool,
    /// Respiration impedance.
    pub respiration: bool,
    /// The cuff's pressure and its oscillations.
    pub cuff: bool,
}

impl Signals {
    /// Every signal.
    pub const ALL: Signals =
        Signals { ecg: true, limb_leads: true, limb_electrodes: true, respiration: true, cuff: true };

    /// The signals that `channels` are read from; pressures are those of the player.
    pub fn of(channels: &[Channel]) -> Signals {
        let any = |wanted: fn(&Channel) -> bool| channels.iter().any(wanted);
        Signals {
            ecg: any(|channel| matches!(channel, Channel::Lead(_) | Channel::Electrode(_))),
            limb_leads: any(|channel| matches!(channel, Channel::Lead(Lead::III | Lead::AVR | Lead::AVL | Lead::AVF))),
            limb_electrodes: any(|channel| {
                matches!(channel, Channel::Electrode(Electrode::RA | Electrode::LA | Electrode::LL))
            }),
            respiration: any(|channel| matches!(channel, Channel::Respiration)),
            cuff: any(|channel| matches!(channel, Channel::Cuff | Channel::CuffOscillation)),
        }
    }
}

/// At most [`BLOCK`] consecutive frames, signal by signal.
#[derive(Clone, Debug)]
pub struct Block {
    /// The pressures that it was last filled with.
    chosen: Option<SiteSet>,
    len: usize,
    pub(crate) columns: Columns,
    /// Work space of the player; kept here so that it need not be cleared for each block.
    pub(crate) segment: Segment<BLOCK>,
}

/// The values of a block.
#[derive(Clone, Debug)]
pub(crate) struct Columns {
    signals: Signals,
    leads_mv: [[f32; BLOCK]; INDEPENDENT_LEADS],
    /// Leads III, aVR, aVL and aVF.
    limb_leads_mv: [[f32; BLOCK]; 4],
    /// Electrodes RA, LA and LL.
    limb_electrodes_mv: [[f32; BLOCK]; 3],
    respiration_ohm: [f32; BLOCK],
    pressure_mmhg: [[f32; BLOCK]; PressureSite::COUNT],
    cuff_mmhg: [[f32; BLOCK]; 2],
}

impl Block {
    /// An empty block for these signals.
    pub fn new(signals: Signals) -> Block {
        let columns = Columns {
            signals,
            leads_mv: [[0.0; BLOCK]; INDEPENDENT_LEADS],
            limb_leads_mv: [[0.0; BLOCK]; 4],
            limb_electrodes_mv: [[0.0; BLOCK]; 3],
            respiration_ohm: [0.0; BLOCK],
            pressure_mmhg: [[0.0; BLOCK]; PressureSite::COUNT],
            cuff_mmhg: [[0.0; BLOCK]; 2],
        };
        Block { chosen: None, len: 0, columns, segment: Segment::new() }
    }

    /// A block of these frames, of which it takes the first [`BLOCK`].
    pub fn of_frames(frames: &[Frame]) -> Block {
        let mut block = Block::new(Signals::ALL);
        block.take(frames);
        block
    }

    /// Holds the first [`BLOCK`] of these frames from now on, with every signal that the block is for.
    pub fn take(&mut self, frames: &[Frame]) {
        let columns = &mut self.columns;
        for (i, frame) in frames.iter().take(BLOCK).enumerate() {
            columns.set_leads(i, frame.leads_mv);
            columns.respiration_ohm[i] = frame.respiration_ohm;
            for (column, value) in columns.pressure_mmhg.iter_mut().zip(frame.pressure_mmhg) {
                column[i] = value;
            }
            for (column, value) in columns.cuff_mmhg.iter_mut().zip(frame.cuff_mmhg) {
                column[i] = value;
            }
        }
        // Whatever pressures they have.
        self.chosen = None;
        self.end(frames.len());
    }

    /// Frames in it.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether it has none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The frame at `index`, if there is one.
    pub fn frame(&self, index: usize) -> Option<Frame> {
        (index < self.len).then(|| Frame {
            leads_mv: self.columns.leads_mv.each_ref().map(|column| column[index]),
            respiration_ohm: self.columns.respiration_ohm[index],
            pressure_mmhg: self.columns.pressure_mmhg.each_ref().map(|column| column[index]),
            cuff_mmhg: self.columns.cuff_mmhg.each_ref().map(|column| column[index]),
        })
    }

    /// The values of a channel in its unit, one for each frame.
    ///
    /// The same values as [`Frame::sample`].
    pub fn column(&self, channel: Channel) -> &[f32] {
        let [i, ii, v1, v2, v3, v4, v5, v6] = &self.columns.leads_mv;
        let [iii, avr, avl, avf] = &self.columns.limb_leads_mv;
        let [ra, la, ll] = &self.columns.limb_electrodes_mv;
        let whole = match channel {
            Channel::Lead(Lead::I) => i,
            Channel::Lead(Lead::II) => ii,
            Channel::Lead(Lead::III) => iii,
            Channel::Lead(Lead::AVR) => avr,
            Channel::Lead(Lead::AVL) => avl,
            Channel::Lead(Lead::AVF) => avf,
            Channel::Electrode(Electrode::RA) => ra,
            Channel::Electrode(Electrode::LA) => la,
            Channel::Electrode(Electrode::LL) => ll,
            Channel::Lead(Lead::V1) | Channel::Electrode(Electrode::V1) => v1,
            Channel::Lead(Lead::V2) | Channel::Electrode(Electrode::V2) => v2,
            Channel::Lead(Lead::V3) | Channel::Electrode(Electrode::V3) => v3,
            Channel::Lead(Lead::V4) | Channel::Electrode(Electrode::V4) => v4,
            Channel::Lead(Lead::V5) | Channel::Electrode(Electrode::V5) => v5,
            Channel::Lead(Lead::V6) | Channel::Electrode(Electrode::V6) => v6,
            Channel::Respiration => &self.columns.respiration_ohm,
            Channel::Pressure(site) => &self.columns.pressure_mmhg[site as usize],
            Channel::Cuff => &self.columns.cuff_mmhg[0],
            Channel::CuffOscillation => &self.columns.cuff_mmhg[1],
        };
        whole.get(..self.len).unwrap_or(whole)
    }

    /// The columns that are played, each with its place among a frame's values: eight leads, impedance, pressures, cuff.
    ///
    /// They are whole: what follows the frames of the block has no meaning.
    pub fn played(&self) -> impl Iterator<Item = (usize, &[f32; BLOCK])> {
        let Signals { ecg, respiration, cuff, .. } = self.columns.signals;
        let chosen = self.chosen;
        let leads = self.columns.leads_mv.iter().map(move |column| (ecg, column));
        let sites = PressureSite::ALL.iter().zip(&self.columns.pressure_mmhg);
        let pressures = sites.map(move |(site, column)| (chosen.is_none_or(|chosen| chosen.has(*site)), column));
        let whole = leads
            .chain([(respiration, &self.columns.respiration_ohm)])
            .chain(pressures)
            .chain(self.columns.cuff_mmhg.iter().map(move |column| (cuff, column)));
        whole.enumerate().filter_map(|(place, (played, column))| played.then_some((place, column)))
    }

    /// Makes it ready for frames of a player with these pressures.
    pub(crate) fn begin(&mut self, chosen: SiteSet) {
        self.len = 0;
        if self.chosen != Some(chosen) {
            self.columns.pressure_mmhg = [[0.0; BLOCK]; PressureSite::COUNT];
            self.chosen = Some(chosen);
        }
    }

    /// Sets the number of frames and computes the derived columns.
    pub(crate) fn end(&mut self, len: usize) {
        self.len = len.min(BLOCK);
        vectors::run(WorkOut { columns: &mut self.columns });
    }
}

/// The limbs' leads and electrodes of a block, worked out of leads I and II.
struct WorkOut<'a> {
    columns: &'a mut Columns,
}

impl Loop for WorkOut<'_> {
    #[inline(always)]
    fn run(self) {
        let Columns { signals, leads_mv: [i, ii, ..], limb_leads_mv, limb_electrodes_mv, .. } = self.columns;
        if signals.limb_leads {
            let [iii, avr, avl, avf] = limb_leads_mv;
            work_out(iii, i, ii, frame::iii);
            work_out(avr, i, ii, frame::avr);
            work_out(avl, i, ii, frame::avl);
            work_out(avf, i, ii, frame::avf);
        }
        if signals.limb_electrodes {
            let [ra, la, ll] = limb_electrodes_mv;
            work_out(ra, i, ii, frame::ra);
            work_out(la, i, ii, frame::la);
            work_out(ll, i, ii, frame::ll);
        }
    }
}

#[inline(always)]
fn work_out(column: &mut [f32; BLOCK], i: &[f32; BLOCK], ii: &[f32; BLOCK], of: impl Fn(f32, f32) -> f32) {
    for ((value, i), ii) in column.iter_mut().zip(i).zip(ii) {
        *value = of(*i, *ii);
    }
}

/// Where a player puts what it has drawn: frames one after another, or the columns of a block.
pub(crate) trait BlockRows {
    /// The signals to draw.
    fn signals(&self) -> Signals;

    /// Forms the leads of consecutive rows, the first of them `from`, from the heart's vector; a block's may include rows that are
    /// still to come.
    fn put_leads(&mut self, from: usize, vectors: [&[f32]; 3]);

    /// The leads of a row, mV.
    fn leads(&self, row: usize) -> [f32; INDEPENDENT_LEADS];

    /// Puts other leads in their place.
    fn set_leads(&mut self, row: usize, leads_mv: [f32; INDEPENDENT_LEADS]);

    /// Impedances from row `from` on, ohm.
    fn respiration(&mut self, from: usize) -> impl Iterator<Item = &mut f32>;

    /// Pressures in the cuff and their oscillations from row `from` on, mmHg.
    fn cuff(&mut self, from: usize) -> impl Iterator<Item = [&mut f32; 2]>;

    /// Pressures of a site from row `from` on, mmHg.
    fn pressure(&mut self, site: PressureSite, from: usize) -> impl Iterator<Item = &mut f32>;
}

impl BlockRows for [Frame] {
    fn signals(&self) -> Signals {
        Signals::ALL
    }

    #[inline]
    fn put_leads(&mut self, from: usize, [x, y, z]: [&[f32]; 3]) {
        for (((frame, x), y), z) in self.iter_mut().skip(from).zip(x).zip(y).zip(z) {
            frame.leads_mv = leads_of([*x, *y, *z]);
        }
    }

    fn leads(&self, row: usize) -> [f32; INDEPENDENT_LEADS] {
        self.get(row).map_or([0.0; INDEPENDENT_LEADS], |frame| frame.leads_mv)
    }

    fn set_leads(&mut self, row: usize, leads_mv: [f32; INDEPENDENT_LEADS]) {
        if let Some(frame) = self.get_mut(row) {
            frame.leads_mv = leads_mv;
        }
    }

    fn respiration(&mut self, from: usize) -> impl Iterator<Item = &mut f32> {
        self.iter_mut().skip(from).map(|frame| &mut frame.respiration_ohm)
    }

    fn cuff(&mut self, from: usize) -> impl Iterator<Item = [&mut f32; 2]> {
        self.iter_mut().skip(from).map(|frame| frame.cuff_mmhg.each_mut())
    }

    fn pressure(&mut self, site: PressureSite, from: usize) -> impl Iterator<Item = &mut f32> {
        self.iter_mut().skip(from).map(move |frame| &mut frame.pressure_mmhg[site as usize])
    }
}

/// The leads of consecutive frames, formed from the heart's vector.
struct PutLeads<'a> {
    leads_mv: &'a mut [[f32; BLOCK]; INDEPENDENT_LEADS],
    from: usize,
    vectors: [&'a [f32]; 3],
}

impl Loop for PutLeads<'_> {
    #[inline(always)]
    fn run(self) {
        let [x, y, z] = self.vectors;
        for (column, row) in self.leads_mv.iter_mut().zip(DOWER) {
            let Some(column) = column.get_mut(self.from..) else { return };
            for (((lead, x), y), z) in column.iter_mut().zip(x).zip(y).zip(z) {
                *lead = lead_of(row, [*x, *y, *z]);
            }
        }
    }
}

impl BlockRows for Columns {
    fn signals(&self) -> Signals {
        self.signals
    }

    #[inline]
    fn put_leads(&mut self, from: usize, vectors: [&[f32]; 3]) {
        vectors::run(PutLeads { leads_mv: &mut self.leads_mv, from, vectors });
    }

    fn leads(&self, row: usize) -> [f32; INDEPENDENT_LEADS] {
        self.leads_mv.each_ref().map(|column| column.get(row).copied().unwrap_or(0.0))
    }

    fn set_leads(&mut self, row: usize, leads_mv: [f32; INDEPENDENT_LEADS]) {
        for (column, value) in self.leads_mv.iter_mut().zip(leads_mv) {
            if let Some(place) = column.get_mut(row) {
                *place = value;
            }
        }
    }

    fn respiration(&mut self, from: usize) -> impl Iterator<Item = &mut f32> {
        self.respiration_ohm.iter_mut().skip(from)
    }

    fn cuff(&mut self, from: usize) -> impl Iterator<Item = [&mut f32; 2]> {
        let [cuff, oscillation] = &mut self.cuff_mmhg;
        cuff.iter_mut().zip(oscillation).skip(from).map(|(cuff, oscillation)| [cuff, oscillation])
    }

    fn pressure(&mut self, site: PressureSite, from: usize) -> impl Iterator<Item = &mut f32> {
        self.pressure_mmhg[site as usize].iter_mut().skip(from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_has_the_samples_of_the_frames() {
        let frames: [Frame; 7] = core::array::from_fn(|i| {
            let value = |k: usize| 0.37 * (i * 31 + k * 7) as f32 - 3.0;
            Frame {
                leads_mv: core::array::from_fn(value),
                respiration_ohm: value(8),
                pressure_mmhg: core::array::from_fn(|k| value(9 + k)),
                cuff_mmhg: [value(19), value(20)],
            }
        });
        let block = Block::of_frames(&frames);
        assert_eq!(block.len(), frames.len());
        assert_eq!(block.frame(frames.len()), None);
        for channel in Channel::ALL {
            let column = block.column(*channel);
            assert_eq!(column.len(), frames.len());
            for (i, (value, frame)) in column.iter().zip(&frames).enumerate() {
                assert_eq!(value.to_bits(), frame.sample(*channel).to_bits(), "{channel:?}, frame {i}");
            }
        }
        assert!(frames.iter().enumerate().all(|(i, frame)| block.frame(i).as_ref() == Some(frame)));
    }
}
