//! One solve of the water side: from where the last instants lead, or from a cold start, and what is tried where that fails.

use super::{SolveError, WaterSide};
use crate::network::NodeKind;
use crate::nonlinear::newton::{self, Options};
use crate::nonlinear::{NonlinearError, NonlinearStats};

/// Iterations of a second try in which no step has to lower the error.
const STRIDES: usize = 200;

impl WaterSide<'_> {
    /// Solves: from the last solution where there is one, to the given options, else from a cold start to the default.
    pub(super) fn solve_once(&mut self, resumed: &Options) -> Result<NonlinearStats, SolveError> {
        if !self.connected {
            self.connect_now();
        }
        self.solves += 1;
        self.equations.end_chords();
        if self.solved {
            if self.neared.take() != Some(self.time) {
                self.equations.forecast(self.time);
            }
            if let Ok(stats) = newton::resume(&mut self.equations, &mut self.work, resumed)
                && self.equations.largest_imbalance().0 <= self.equations.tolerated_imbalance(1e-7)
            {
                self.equations.note_instant(self.time);
                return Ok(stats);
            }
        }
        self.solved = false;
        // The work of tries that failed counts as well.
        let mut spent = 0;
        let mut outcome = newton::solve(&mut self.equations, &mut self.work, &Options::default());
        if let Err(error) = &outcome {
            // A line search can be caught between laws that open and shut; strides alone are not.
            spent += error.iterations();
            let strides = Options { iterations: STRIDES, free: STRIDES, ..Options::default() };
            outcome = newton::solve(&mut self.equations, &mut self.work, &strides);
        }
        if let Err(error) = &outcome
            && self.equations.has_runs()
        {
            spent += error.iterations();
            outcome = self.bring_momentum_in();
        }
        let (imbalance, worst) = self.equations.largest_imbalance();
        let mut stats = outcome.map_err(|source| SolveError::Nonlinear {
            time: self.time,
            item: self.name(worst, &source),
            source,
        })?;
        if imbalance.is_nan() || imbalance > self.equations.tolerated_imbalance(1e-9) {
            let item = worst.map_or_else(String::new, |point| self.name_of_point(point));
            return Err(SolveError::Imbalance { time: self.time, item, imbalance });
        }
        self.solved = true;
        self.equations.forget_instants();
        self.equations.note_instant(self.time);
        stats.iterations += spent;
        Ok(stats)
    }

    fn name(&self, worst: Option<usize>, error: &NonlinearError) -> String {
        match (error, worst) {
            (NonlinearError::Singular(place), _) => self.name_of_point(place.row),
            (_, Some(point)) => self.name_of_point(point),
            _ => String::from("the tanks"),
        }
    }

    fn name_of_point(&self, point: usize) -> String {
        let panel = self.plate.panel_of(point).map(|panel| self.network.panels[panel].node);
        let header = self.stations.iter().position(|stations| stations.holds(point));
        let header = header.map(|header| self.network.long_headers[header].node);
        let node = panel.or(header).or_else(|| {
            let is_at = |&k: &usize| self.network.nodes[k].kind == NodeKind::Header && self.point_of_node[k] == point;
            (0..self.network.nodes.len()).find(is_at)
        });
        if let Some(node) = node {
            return self.network.nodes[node].name.to_string();
        }
        // A mouth of a passage, or where the legs of a weir pipe part.
        let passage = self.ends.iter().position(|ends| ends.contains(&point)).or_else(|| {
            let (columns, _) = self.columns.as_ref()?;
            let links = self.equations.links();
            let line = columns.lines.iter().find(|line| line.parts_at(links, point))?;
            Some(line.passage)
        });
        passage.map_or_else(
            || String::from("air that is shut in"),
            |passage| self.network.passages[passage].name.to_string(),
        )
    }
}
