//! Columns to channels: by the user's word, by their header, and where no header helps by what their
//! values look like; then units, stated or told from plausibility.

use super::body::Body;
use super::dialect::Layout;
use super::names::{self, Meaning, Quantity, Unit, quantity_of};
use super::shapes::{Shapes, scale_of_voltage, whole};
use crate::log::Channel;
use crate::notice::{Notice, printable};
use crate::statistics::quantiles::quantile;

/// A mapping that the user stated in the sheet's `[import]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rule {
    /// Header as written (case ignored), or the column's number from 1.
    pub column: String,
    /// Channel name, `erpm`, `index` or `date`; `ignore` keeps the column out of the channels.
    pub channel: Option<String>,
    /// Unit spelling.
    pub unit: Option<String>,
    /// Factor on the written value, before the unit.
    pub scale: Option<f64>,
}

/// What is known about the car and the day, for units that must be told from plausibility.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Hints {
    /// The user's mappings.
    pub rules: Vec<Rule>,
    /// Encoding label.
    pub encoding: Option<String>,
    /// Delimiter.
    pub delimiter: Option<u8>,
    /// Decimal mark.
    pub decimal: Option<u8>,
    /// Rows a second, for a log without a clock.
    pub rate_hz: Option<f64>,
    /// Magnetic poles of the motor.
    pub poles: Option<f64>,
}

/// What a column is used for.
#[derive(Debug, Clone, PartialEq)]
pub struct Use {
    /// The column's header, or `column N`.
    pub name: String,
    /// What it holds; `None` for a column kept under its own name.
    pub meaning: Option<Meaning>,
    /// Its unit, where written or stated.
    pub unit: Option<Unit>,
    /// The user's factor.
    pub scale: f64,
    /// How sure the meaning is: 3 stated by the user, 2 a known header, 1 a header that holds a known name, 0 told from values.
    pub rank: u8,
}

/// Rank of a column whose meaning the user stated.
pub const STATED: u8 = 3;

/// Uses of the columns by the user's word and their headers.
pub fn by_header(layout: &Layout, hints: &Hints, notices: &mut Vec<Notice>) -> Vec<Use> {
    let mut uses: Vec<Use> = (0..layout.width).map(|at| use_of(at, layout)).collect();
    for rule in &hints.rules {
        apply(rule, &mut uses, notices);
    }
    settle_rivals(&mut uses, notices);
    uses
}

fn use_of(at: usize, layout: &Layout) -> Use {
    let written = layout.header.as_ref().and_then(|h| h.cells.get(at)).filter(|c| !c.is_empty());
    let (meaning, unit) = written.map_or((None, None), |text| names::header(text));
    let in_row = layout.units.as_ref().and_then(|u| u.cells.get(at)).and_then(|c| names::unit(c));
    // A unit in its own row can say what a bare header does not: `Motor`, `°C`.
    let meaning = match (meaning, in_row, written) {
        (None, Some(unit), Some(text)) => names::header(&format!("{text} [{}]", spelling(layout, at, unit))).0,
        (found, _, _) => found,
    };
    let name = written.map_or_else(|| format!("column {}", at + 1), |text| printable(text, 80));
    let rank = meaning.map_or(0, |m| if m.exact { 2 } else { 1 });
    let scale = written.and_then(|text| names::factor(text)).filter(|_| meaning.is_some()).unwrap_or(1.0);
    Use { name, meaning: meaning.map(|m| m.meaning), unit: in_row.or(unit), scale, rank }
}

fn spelling(layout: &Layout, at: usize, unit: Unit) -> &str {
    layout.units.as_ref().and_then(|u| u.cells.get(at)).map_or(unit.name, |c| c.trim_matches(['[', ']', '(', ')']))
}

fn apply(rule: &Rule, uses: &mut [Use], notices: &mut Vec<Notice>) {
    let wanted = rule.column.trim().to_lowercase();
    let by_number = wanted
        .trim_start_matches(['#', ' '])
        .parse::<usize>()
        .ok()
        .and_then(|n| n.checked_sub(1))
        .filter(|&n| n < uses.len());
    let found = uses.iter().position(|u| u.name.trim().to_lowercase() == wanted).or(by_number);
    let Some(found) = found else {
        let names: Vec<&str> = uses.iter().map(|u| u.name.as_str()).collect();
        let message =
            format!("`[import]` names the column `{}`, which the log does not have", printable(&rule.column, 40));
        notices.push(
            Notice::warning("import-column", message)
                .hint(format!("its columns are `{}`", printable(&names.join("`, `"), 300))),
        );
        return;
    };
    if let Some(channel) = &rule.channel {
        let meaning = names::meaning_of(channel);
        if meaning.is_none() && channel != "ignore" {
            let known: Vec<&str> = Channel::ALL.iter().map(|c| c.name()).collect();
            notices.push(
                Notice::warning(
                    "import-channel",
                    format!("`[import]` names the channel `{}`, which is not known", printable(channel, 40)),
                )
                .hint(format!("channels are `{}`, `erpm`, `index`, `date`, `ignore`", known.join("`, `"))),
            );
        }
        for other in uses.iter_mut().filter(|u| meaning.is_some() && u.meaning == meaning) {
            other.meaning = None;
        }
        uses[found].meaning = meaning;
        uses[found].rank = STATED;
    }
    if let Some(text) = &rule.unit {
        match names::unit(text).or_else(|| Unit::named(text)) {
            Some(unit) => uses[found].unit = Some(unit),
            None => notices.push(Notice::warning(
                "import-unit",
                format!("`[import]` names the unit `{}`, which is not known", printable(text, 40)),
            )),
        }
    }
    uses[found].scale = rule.scale.filter(|s| s.is_finite() && *s != 0.0).unwrap_or(1.0);
    // A factor without a unit leads to the channel's own unit.
    if rule.scale.is_some() && rule.unit.is_none() {
        uses[found].unit = uses[found].meaning.and_then(own_unit);
    }
}

fn own_unit(meaning: Meaning) -> Option<Unit> {
    let name = match meaning {
        Meaning::Erpm => "erpm",
        Meaning::Channel(channel) => own_unit_name(quantity_of(channel)),
        _ => return None,
    };
    Unit::named(name)
}

fn own_unit_name(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Time => "s",
        Quantity::Rpm => "rpm",
        Quantity::Erpm => "erpm",
        Quantity::Voltage => "v",
        Quantity::Current => "a",
        Quantity::Temperature => "degc",
        Quantity::Share => "percent",
        Quantity::Speed => "m_s",
        Quantity::Other => "other",
    }
}

/// Of two columns for one channel the surer one keeps it, else the first; the other stays under its own name.
fn settle_rivals(uses: &mut [Use], notices: &mut Vec<Notice>) {
    for at in 0..uses.len() {
        let Some(meaning @ Meaning::Channel(channel)) = uses[at].meaning else { continue };
        if channel == Channel::Time {
            continue;
        }
        let rival = (at + 1..uses.len())
            .filter(|&o| uses[o].meaning == Some(meaning))
            .max_by_key(|&o| (uses[o].rank, std::cmp::Reverse(o)));
        let Some(rival) = rival else { continue };
        let keep = if uses[rival].rank > uses[at].rank { rival } else { at };
        for other in (at..uses.len()).filter(|&o| o != keep) {
            if uses[other].meaning == Some(meaning) {
                let message = format!(
                    "`{}` and `{}` both look like {}; `{}` was taken",
                    uses[at].name,
                    uses[rival].name,
                    channel.name(),
                    uses[keep].name
                );
                notices
                    .push(Notice::warning("two-columns", message).hint("name the right one in the sheet's `[import]`"));
                uses[other].meaning = None;
            }
        }
    }
}

/// Names channels from values where the headers did not lead to the motor's revs.
pub fn by_values(uses: &mut [Use], body: &Body, notices: &mut Vec<Notice>) {
    let known = |uses: &[Use], channel| uses.iter().any(|u| u.meaning == Some(Meaning::Channel(channel)));
    let rpm_known = known(uses, Channel::Rpm) || uses.iter().any(|u| u.meaning == Some(Meaning::Erpm));
    let shapes = Shapes::new(body);
    name_parts(uses, &shapes, notices);
    name_temperatures(uses, &shapes, notices);
    let idle = |at: usize| body.columns[at].values.iter().all(|v| *v == 0.0 || v.is_nan());
    if uses.iter().any(|u| u.meaning == Some(Meaning::Erpm))
        && let Some(at) =
            (0..uses.len()).find(|&at| uses[at].meaning == Some(Meaning::Channel(Channel::Rpm)) && idle(at))
    {
        // A recorder that does not know the poles leaves its motor revs empty.
        notices.push(Notice::note(
            "idle-column",
            format!("`{}` is zero throughout; the electrical turns were taken", uses[at].name),
        ));
        uses[at].meaning = None;
    }
    if rpm_known {
        return;
    }
    let mut taken: Vec<Channel> = Channel::ALL.into_iter().filter(|&c| known(uses, c)).collect();
    for channel in
        [Channel::Rpm, Channel::Voltage, Channel::MotorTemperature, Channel::ControllerTemperature, Channel::Current]
    {
        if taken.contains(&channel) {
            continue;
        }
        let fitting = (0..uses.len()).filter(|&at| uses[at].meaning.is_none() && uses[at].rank < 3);
        let best = fitting
            .filter_map(|at| shapes.of(at).and_then(|s| s.fits(channel)).map(|score| (at, score)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((at, _)) = best {
            uses[at].meaning = Some(Meaning::Channel(channel));
            taken.push(channel);
            let message = format!("`{}` was taken for {} by what its values look like", uses[at].name, channel.name());
            notices.push(
                Notice::warning("channel-from-values", message).hint("name it in the sheet's `[import]` to be sure"),
            );
        }
    }
}

/// A column headed with nothing but `Motor` or `ESC` that looks like a temperature is taken for one.
fn name_parts(uses: &mut [Use], shapes: &Shapes, notices: &mut Vec<Notice>) {
    for at in 0..uses.len() {
        let Some(channel) =
            names::part_named(&uses[at].name).filter(|_| uses[at].meaning.is_none() && uses[at].rank < 3)
        else {
            continue;
        };
        let free = uses.iter().all(|u| u.meaning != Some(Meaning::Channel(channel)));
        if free && shapes.of(at).is_some_and(|s| s.fits(channel).is_some()) {
            uses[at].meaning = Some(Meaning::Channel(channel));
            let message = format!("`{}` was taken for {} by what its values look like", uses[at].name, channel.name());
            notices.push(
                Notice::warning("channel-from-values", message).hint("name it in the sheet's `[import]` to be sure"),
            );
        }
    }
}

/// Temperatures of something untold: the hotter is the motor's, the other the controller's, where both are open.
fn name_temperatures(uses: &mut [Use], shapes: &Shapes, notices: &mut Vec<Notice>) {
    let mut open: Vec<usize> = (0..uses.len()).filter(|&at| uses[at].meaning == Some(Meaning::Temperature)).collect();
    let high = |at: usize| shapes.of(at).map_or(0.0, |s| s.high);
    open.sort_by(|&a, &b| high(b).total_cmp(&high(a)));
    for at in open {
        let free = [Channel::MotorTemperature, Channel::ControllerTemperature]
            .into_iter()
            .find(|&c| uses.iter().all(|u| u.meaning != Some(Meaning::Channel(c))));
        uses[at].meaning = free.map(Meaning::Channel);
        if let Some(channel) = free {
            let message = format!(
                "`{}` does not say whose temperature it is and was taken for {}",
                uses[at].name,
                channel.name()
            );
            notices.push(
                Notice::warning("channel-from-values", message).hint("name it in the sheet's `[import]` to be sure"),
            );
        }
    }
}

/// The unit of a channel's values: stated, written, or told from plausibility with a notice.
/// `coolest_start` is the lowest first value of the log's temperatures: a motor may start hot, not all of them.
pub fn unit_of(
    channel: Channel,
    plan: &Use,
    values: &[f64],
    cell_unit: Option<Unit>,
    coolest_start: f64,
    notices: &mut Vec<Notice>,
) -> Unit {
    let quantity = if plan.meaning == Some(Meaning::Erpm) { Quantity::Erpm } else { quantity_of(channel) };
    let written = plan.unit.or(cell_unit);
    let fitting = |u: &Unit| {
        u.quantity == quantity
            || quantity == Quantity::Erpm && u.quantity == Quantity::Rpm
            || quantity == Quantity::Rpm && u.quantity == Quantity::Erpm
    };
    if let Some(unit) = written {
        if fitting(&unit) {
            return unit;
        }
        notices.push(Notice::warning(
            "unit-does-not-fit",
            format!("the unit of `{}` does not fit {} and was not used", plan.name, channel.name()),
        ));
    }
    let own = Unit::named(own_unit_name(quantity)).expect("every channel's own unit is listed");
    let whole = whole(values);
    let values = || values.iter().map(|v| v * plan.scale);
    let (Some(low), Some(high)) = (quantile(values(), 0.02), quantile(values(), 0.995)) else { return own };
    let told = match quantity {
        Quantity::Voltage => scale_of_voltage(low, high, whole),
        Quantity::Current => Some(current_unit(high)),
        Quantity::Rpm if high < 150.0 => Some("krpm"),
        Quantity::Temperature => Some(temperature_unit(coolest_start, high)),
        Quantity::Share => Some(share_unit(low, high)),
        // Faster than 45 m/s (162 km/h) no track car is.
        Quantity::Speed => Some(if high > 45.0 { "km_h" } else { "m_s" }),
        _ => None,
    };
    let unit = told.and_then(Unit::named).unwrap_or(own);
    // No motor that is worth a log stays below: tens or hundreds may be meant.
    if quantity == Quantity::Rpm && unit == own && high > 0.0 && high < 2_500.0 {
        let message = format!("`{}` never passes {high:.0} turns a minute: are they tens or hundreds?", plan.name);
        notices
            .push(Notice::warning("slow-revs", message).hint("state the column's `scale` in the sheet's `[import]`"));
    }
    if unit != own || quantity == Quantity::Speed {
        notices.push(
            Notice::warning(
                "unit-from-values",
                format!("`{}` names no unit; its values look like {}", plan.name, unit.label()),
            )
            .hint("state the unit in the sheet's `[import]` to be sure"),
        );
    }
    unit
}

fn current_unit(high: f64) -> &'static str {
    // A peak below 250 A stands as it is; beyond, the scale that brings it nearest to 60 A (common practice, no source).
    if high <= 250.0 {
        return "a";
    }
    let distance = |scale: f64| (high * scale / 60.0).ln().abs();
    [("da", 0.1), ("ca", 0.01), ("ma", 0.001)]
        .into_iter()
        .min_by(|a, b| distance(a.1).total_cmp(&distance(b.1)))
        .map_or("a", |u| u.0)
}

fn temperature_unit(first: f64, high: f64) -> &'static str {
    match () {
        () if (233.0..420.0).contains(&first) && high < 470.0 && first > 250.0 && high / first < 1.6 => "kelvin",
        () if first > 160.0 => "ddegc",
        // Motor and controller both above 62 °C at the start are likelier at 62 °F or more.
        () if first > 62.0 => "degf",
        () => "degc",
    }
}

fn share_unit(low: f64, high: f64) -> &'static str {
    match () {
        () if high <= 1.05 && low >= -1.05 => "fraction",
        () if low > 700.0 && high < 2400.0 => "pulse_us",
        () => "percent",
    }
}
