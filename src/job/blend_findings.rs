//! What there is to say about trust in a setting, and about what it can't mend.

use super::average::twice;
use super::blend::Known;
use super::blend_curves::TimeZero;
use super::blend_limits::{FROM_SEATS, are_swapped};
use crate::files::{BlendDocument, EndTable, UnevennessTable, faults_of_inputs};
use crate::quantity::{Code, Finding, Severity, Whereabouts};

/// A delay error of a fifth of a millisecond that costs more than this makes a setting that hardly lasts, dB.
const FRAGILE_DB: f64 = 2.0;
/// Two captures at one seat whose times disagree by more were not of the same place or setting, s.
const APART_S: f64 = 2e-4;
/// A sum as uneven as this is no blend, dB (ours: half again a room's usual ± 5 dB in the bass).
const ROUGH_DB: f64 = 15.0;
/// Above this a subwoofer is heard as a place of its own, Hz (common practice).
const LOCATABLE_HZ: f64 = 120.0;
/// A setting as near to the end of what was looked through, of its width.
const NEAR_THE_END: f64 = 0.005;

/// What stands out of a sum.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Dip,
    Peak,
}

pub(super) fn findings(known: &Known<'_>, document: &BlendDocument) -> Vec<Finding> {
    let mut all: Vec<Finding> = [
        assumed(known),
        told_by_both(known),
        disagreement(known),
        fragile(document),
        rough(document),
        locatable(document),
        period_off(known),
        swapped(known),
        twice(&document.inputs, "give each curve once: the satellite and the subwoofer alone, at each seat"),
        beyond(document),
        at_the_end(known),
        left_out(known),
        blurred(known),
    ]
    .into_iter()
    .flatten()
    .chain(faults_of_inputs(&document.inputs))
    .collect();
    for seat in &document.seats {
        all.extend(
            [Kind::Dip, Kind::Peak].into_iter().filter_map(|kind| of_the_room(&seat.name, &document.unevenness, kind)),
        );
    }
    all.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    all
}

fn assumed(known: &Known<'_>) -> Option<Finding> {
    (known.heard.zero == TimeZero::AsGiven).then(|| {
        let says = "the curves do not say what their times count from; their phases are taken to hold the delays of one zero of time";
        let advice = "if they do not, add --both with a capture of both playing";
        Finding::new(Code::Assumed, Severity::Caution, says, advice)
    })
}

fn told_by_both(known: &Known<'_>) -> Option<Finding> {
    (known.heard.zero == TimeZero::ItsOwn).then(|| {
        let u_ms = known.heard.by_both.iter().map(|told| 1e3 * told.u_delay_s).fold(0.0, f64::max);
        let left = known.heard.by_both.iter().map(|told| told.left_ratio).fold(0.0, f64::max);
        let says = format!(
            "the curves have no zero of time in common; how they stand was taken from the captures of both playing, to ± {:.2} ms ({:.0} % of the sum is left over)",
            2.0 * u_ms,
            100.0 * left
        );
        Finding::new(Code::Assumed, Severity::Note, says, "a loopback cable tells it without detour")
    })
}

/// Where the captures have a zero of time and those of both say something else.
fn disagreement(known: &Known<'_>) -> Option<Finding> {
    if known.heard.zero == TimeZero::ItsOwn {
        return None;
    }
    let seats = &known.heard.parts.seats;
    let (seat, told) = seats
        .iter()
        .zip(&known.heard.by_both)
        .find(|(_, told)| told.delay_s.abs() > APART_S.max(3.0 * told.u_delay_s))?;
    let says = format!(
        "{}: with both playing the subwoofer comes {:+.2} ± {:.2} ms later than the two captures say",
        seat.name,
        1e3 * told.delay_s,
        2e3 * told.u_delay_s
    );
    let advice = "capture all three again from the same place, with nothing changed in between";
    Some(Finding::new(Code::Disagreement, Severity::Caution, says, advice))
}

fn fragile(document: &BlendDocument) -> Option<Finding> {
    let setting = &document.setting;
    let costs_db = setting.spoiled_db - setting.ripple_db;
    (costs_db > FRAGILE_DB).then(|| {
        let says = format!(
            "{:.1} ms of delay more or less cost {costs_db:.1} dB at the worst seat",
            document.settings.delay_error_ms
        );
        Finding::new(Code::FragileSetting, Severity::Caution, says, "look at the alternatives, and check by a capture")
    })
}

fn rough(document: &BlendDocument) -> Option<Finding> {
    let worst = document.seats.iter().max_by(|a, b| a.ripple_db.total_cmp(&b.ripple_db))?;
    (worst.ripple_db > ROUGH_DB).then(|| {
        let says = format!(
            "{}: the best setting still leaves {:.1} dB of ripple; nothing among the choices leaves less than {:.1} dB at its worst seat",
            worst.name, worst.ripple_db, document.at_least_db
        );
        let advice = match document.settings.smoothing.as_str() {
            "none" => "move the subwoofer or the seat, which changes more than any setting; --smooth 1/6 leaves narrow dips out of account",
            _ => "move the subwoofer or the seat; another place changes more than any setting",
        };
        Finding::new(Code::RoomDip, Severity::Caution, says, advice)
    })
}

/// A delay that brings waves together, not first sounds.
fn period_off(known: &Known<'_>) -> Option<Finding> {
    let (setting, later_s) = (&known.found.best.setting, known.heard.later_s?);
    let half_s = 0.5 / setting.filters.crossover_hz;
    let off_s = setting.delay_s - later_s;
    (off_s.abs() > half_s).then(|| {
        let says = format!(
            "the delay lies {:.1} ms from the {:.1} ms that bring the first sounds together, more than half a period of the crossover: waves add up, one of them a period late",
            1e3 * off_s.abs(),
            1e3 * later_s
        );
        let [from_ms, to_ms] = [later_s - half_s, later_s + half_s].map(|s| 1e3 * s);
        let advice = format!("--delay {from_ms:.0}:{to_ms:.0} looks near the first sounds alone");
        Finding::new(Code::PeriodOff, Severity::Note, says, advice)
    })
}

fn swapped(known: &Known<'_>) -> Option<Finding> {
    are_swapped(&known.heard.parts)?.then(|| {
        let says = "the satellite's curves have more bass against their mids than the subwoofer's";
        Finding::new(Code::ChannelsSwapped, Severity::Caution, says, "look whether --sat and --sub are swapped")
    })
}

/// Where a loudspeaker has fallen by 3 dB before its crossover.
fn beyond(document: &BlendDocument) -> Option<Finding> {
    let setting = &document.setting;
    let low_hz = setting.low_pass_hz();
    let f3 = |end: Option<&EndTable>| end.and_then(|end| end.f3);
    let satellite = f3(document.satellite.as_ref().map(|satellite| &satellite.end));
    let satellite = satellite.filter(|f3| setting.crossover_hz < f3.value);
    let subwoofer = f3(document.subwoofer.as_ref()).filter(|f3| low_hz > f3.value);
    let words = [
        satellite.map(|f3| format!("the satellite has fallen by 3 dB at {f3}, above its crossover")),
        subwoofer.map(|f3| format!("the subwoofer has fallen by 3 dB at {f3}, below its own")),
    ];
    let says = words.into_iter().flatten().collect::<Vec<_>>().join("; ");
    let advice = "the ripple is as it says, yet there the loudspeaker has to work hardest; give --lowest or --highest to look elsewhere";
    (!says.is_empty()).then(|| Finding::new(Code::OutOfBand, Severity::Note, says, advice))
}

fn locatable(document: &BlendDocument) -> Option<Finding> {
    let hz = document.setting.low_pass_hz();
    (hz > LOCATABLE_HZ).then(|| {
        let says = format!("with a crossover at {hz:.0} Hz the subwoofer may be heard where it stands");
        let advice = "stand it beside the satellites, or look no higher (--crossover 40:120)";
        Finding::new(Code::Locatable, Severity::Note, says, advice)
    })
}

fn at_the_end(known: &Known<'_>) -> Option<Finding> {
    let (setting, choices) = (&known.found.best.setting, known.choices);
    let is_at_end = |value: f64, [from, to]: [f64; 2]| {
        let slack = NEAR_THE_END * (to - from);
        value - from < slack || to - value < slack
    };
    let over_db = setting.gain_db - crate::blend::level_match_db(&known.heard.parts, &setting.filters);
    let what = if is_at_end(setting.delay_s, choices.delay_s) {
        ("the delay", "--delay")
    } else if choices.gain_db.is_none() && is_at_end(over_db, choices.over_match_db) {
        ("the subwoofer's level", "--boost-db")
    } else {
        return None;
    };
    let says = format!("{} lies at the end of what was looked through", what.0);
    Some(Finding::new(
        Code::Incomplete,
        Severity::Note,
        says,
        format!("widen {} if the receiver can be set further", what.1),
    ))
}

fn left_out(known: &Known<'_>) -> Option<Finding> {
    (!known.left_out.is_empty()).then(|| {
        let says = format!("not looked at: {}", known.left_out.join("; "));
        Finding::new(
            Code::OutOfBand,
            Severity::Note,
            says,
            "measure further, or give --lowest, --highest, --loud-db, if they should be",
        )
    })
}

fn blurred(known: &Known<'_>) -> Option<Finding> {
    let (_, from) = known.limits.satellite.as_ref()?;
    (from == FROM_SEATS).then(|| {
        let says = "how far down the satellite reaches was read from the seats, where the room's modes blur it";
        let advice = "give its own curve with --alone: from `boxwright join`, or simulated";
        Finding::new(Code::Assumed, Severity::Note, says, advice)
    })
}

/// The dips of a seat, or its peaks, that are the room's.
fn of_the_room(seat: &str, all: &[UnevennessTable], kind: Kind) -> Option<Finding> {
    let is_kind = |one: &&UnevennessTable| (one.level_db < 0.0) == (kind == Kind::Dip);
    let here: Vec<&UnevennessTable> =
        all.iter().filter(|one| one.seat == seat && one.mended_by == "no setting").filter(is_kind).collect();
    let (first, last) = (here.first()?, here.last()?);
    let one = |one: &&UnevennessTable| match &one.standing_wave {
        Some(wave) => format!("{:.0} Hz ({:+.0} dB, standing wave of {wave})", one.at_hz, one.level_db),
        None => format!("{:.0} Hz ({:+.0} dB)", one.at_hz, one.level_db),
    };
    let list = here.iter().map(one).collect::<Vec<_>>().join(", ");
    let (code, what, advice) = match kind {
        Kind::Dip => (
            Code::RoomDip,
            "dips",
            "move the seat or the loudspeakers; never fill a dip with an equaliser, that only takes excursion and power",
        ),
        Kind::Peak => (Code::RoomPeak, "peaks", "an equaliser may lower them, or another place of the subwoofer"),
    };
    let says = format!("{seat}: no delay and no polarity mends the {what} at {list}");
    let at = Whereabouts { band_hz: Some([first.at_hz, last.at_hz]), ..Whereabouts::default() };
    Some(Finding { at, ..Finding::new(code, Severity::Note, says, advice) })
}
