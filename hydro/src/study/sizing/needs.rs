//! Requirements of a design, judged on its run.

use std::f64::consts::FRAC_PI_4;

use crate::input::study::Sizing;
use crate::network::{Network, PassageKind};
use crate::result::{At, Criterion, DesignTrial, Margin, RunResult};

/// Margin of a panel that the plume enters, where its flow does not say by how much.
const ENTERED: f64 = -1e-6;

/// The trial of a design: its margins, from the run of its network.
pub fn judge(network: &Network, result: &RunResult, needs: &Sizing) -> DesignTrial {
    let judge = Judge { network, result, needs };
    let all = [
        judge.flux(),
        judge.plume(),
        judge.cooling(),
        judge.lasts(),
        judge.velocity(),
        judge.rating(),
        judge.banks(),
        judge.total_flow(),
        judge.unevenness(),
    ];
    DesignTrial { margins: all.into_iter().flatten().collect(), error: None }
}

struct Judge<'a> {
    network: &'a Network,
    result: &'a RunResult,
    needs: &'a Sizing,
}

/// A margin against a least value, or against a limit.
fn margin(criterion: Criterion, item: &str, time: Option<f64>, required: f64, reached: f64) -> Margin {
    let share = if criterion.is_limit() { 1.0 - reached / required } else { reached / required - 1.0 };
    Margin { criterion, item: item.to_string(), time, required, reached, share }
}

fn least(margins: impl Iterator<Item = Margin>) -> Option<Margin> {
    margins.min_by(|a, b| a.share.total_cmp(&b.share))
}

impl Judge<'_> {
    /// Rows of the series from ignition to the end of hold: index and time.
    fn window(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        let window = self.result.ignition..=self.result.hold_ends;
        self.result.series.time.iter().copied().enumerate().filter(move |(_, time)| window.contains(time))
    }

    fn ended(&self) -> f64 {
        self.result.series.time.last().copied().unwrap_or(self.network.duty.start)
    }

    /// Part of the hold that comes after a run which ended early, 0 to 1: tells how far a spent supply falls short.
    fn unreached(&self) -> f64 {
        let (ignition, hold_ends) = (self.result.ignition, self.result.hold_ends);
        if hold_ends > ignition {
            ((hold_ends - self.ended().max(ignition)) / (hold_ends - ignition)).max(0.0)
        } else {
            0.0
        }
    }

    fn flux(&self) -> Option<Margin> {
        let panels = self.network.panels.iter().zip(&self.result.panels).zip(&self.result.series.panels);
        least(panels.filter_map(|((panel, verdict), series)| {
            let required = verdict.required_flux.filter(|&required| required > 0.0)?;
            let lowest = verdict.lowest_flux?;
            let rows = self.window().filter_map(|(k, time)| Some((time, series.flow.get(k)? / panel.area)));
            let driest = rows.min_by(|a, b| a.1.total_cmp(&b.1)).filter(|row| row.1 <= lowest);
            let time = driest.map_or_else(|| self.ended(), |row| row.0);
            let mut found = margin(Criterion::Flux, &verdict.name, Some(time), required, lowest);
            if lowest <= 0.0 {
                found.share -= self.unreached();
            }
            Some(found)
        }))
    }

    /// Pressure inside against that of the plume where a panel holds least, in the worst of its cells; both over the
    /// greatest pressure outside at that time, so that what is over is that of the cell.
    fn plume(&self) -> Option<Margin> {
        let panels = self.network.panels.iter().zip(&self.result.panels);
        least(panels.filter_map(|(panel, verdict)| {
            panel.plume_pressure.as_ref()?;
            // What nothing ties to a pressure, as behind shut valves, holds against nothing.
            let At { value: over, time } = verdict.over_plume.unwrap_or(At { value: 0.0, time: self.ended() });
            let outside = panel.greatest_outside(time, &self.network.site);
            let (required, reached) = (outside + self.needs.plume_margin, outside + over);
            let mut found = margin(Criterion::PlumePressure, &verdict.name, Some(time), required, reached);
            if verdict.plume_enters {
                found.share = found.share.min(ENTERED) - self.unreached();
            }
            Some(found)
        }))
    }

    /// Water over what the heat needs, as a share of it; where the file has it judged.
    fn cooling(&self) -> Option<Margin> {
        least(self.result.panels.iter().filter_map(|panel| {
            let cooling = panel.cooling.as_ref().filter(|cooling| cooling.met.is_some())?;
            let over = cooling.lowest_margin?;
            Some(margin(Criterion::Cooling, &panel.name, cooling.lowest_at, 1.0, 1.0 + over))
        }))
    }

    fn lasts(&self) -> Option<Margin> {
        let required = self.needs.lasts.filter(|&required| required > 0.0)?;
        // A supply that did not run out lasts at least as long as the run.
        let reached = self.result.supply.lasts.unwrap_or(self.ended() - self.network.duty.start);
        Some(margin(Criterion::Lasts, "", None, required, reached))
    }

    fn velocity(&self) -> Option<Margin> {
        let limit = self.needs.greatest_velocity?;
        let passages = self.network.passages.iter().zip(&self.result.series.passages);
        least(passages.filter_map(|(passage, series)| {
            let (bore, ports) = match &passage.kind {
                PassageKind::Pipe(pipe) => (pipe.bore, 1.0),
                PassageKind::Valve(valve) => (valve.bore, 1.0),
                PassageKind::WeirPipe(weir) => (weir.bore, 1.0),
                PassageKind::Crossover(crossover) => (crossover.bore, f64::from(crossover.ports)),
            };
            let rows = self.result.series.time.iter().zip(&series.flow);
            let (time, flow) = rows.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
            let velocity = flow.abs() / (FRAC_PI_4 * bore * bore * ports);
            Some(margin(Criterion::Velocity, &passage.name, Some(*time), limit, velocity))
        }))
    }

    fn rating(&self) -> Option<Margin> {
        let rated = self.network.tanks.iter().zip(&self.result.series.tanks);
        let rated = rated.filter(|_| self.needs.within_rating);
        least(rated.filter_map(|(tank, series)| {
            let rows = self.result.series.time.iter().zip(&series.pressure);
            let (time, highest) = rows.max_by(|a, b| a.1.total_cmp(b.1))?;
            Some(margin(Criterion::Rating, &series.name, Some(*time), tank.rating?, *highest))
        }))
    }

    fn banks(&self) -> Option<Margin> {
        let required = self.needs.bank_end_pressure?;
        least(self.result.series.gas_banks.iter().filter_map(|bank| {
            let left = bank.pressure.last()?;
            Some(margin(Criterion::BankPressure, &bank.name, Some(self.ended()), required, *left))
        }))
    }

    /// Flow of all panels at a row, m3/s.
    fn total(&self, row: usize) -> f64 {
        self.result.series.panels.iter().filter_map(|panel| panel.flow.get(row)).sum()
    }

    fn total_flow(&self) -> Option<Margin> {
        let required = self.needs.total_flow.filter(|&required| required > 0.0)?;
        let spent = self.unreached() > 0.0;
        let rows = self.window().map(|(k, time)| (time, if spent { 0.0 } else { self.total(k) }));
        let (time, flow) = rows.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((self.ended(), 0.0));
        let mut found = margin(Criterion::TotalFlow, "", Some(time), required, flow);
        if spent {
            found.share -= self.unreached();
        }
        Some(found)
    }

    fn unevenness(&self) -> Option<Margin> {
        let limit = self.needs.unevenness?;
        let rows = self.window().filter_map(|(row, time)| {
            let panels = self.network.panels.iter().zip(&self.result.series.panels);
            let flux: Vec<f64> =
                panels.filter_map(|(panel, series)| Some(series.flow.get(row)? / panel.area)).collect();
            let mean = flux.iter().sum::<f64>() / flux.len() as f64;
            let (low, high) = flux.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), &f| (l.min(f), h.max(f)));
            let uneven = if mean > 0.0 { (high - low) / mean } else { return None };
            Some(margin(Criterion::Unevenness, "", Some(time), limit, uneven))
        });
        least(rows)
    }
}
