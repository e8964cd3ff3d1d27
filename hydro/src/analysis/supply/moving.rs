//! A supply whose water is set moving: one implicit stage of the run, gas and water together.
//!
//! A stage asks for the state at the end of a stretch of time, `y = base + reach f(y)`. The water network with its columns is
//! solved for the end of the stretch at the pressures of the tanks as last known, the gas by Newton's method with the flows
//! as last known; both in turn, until neither changes. Newton's method for the gas knows to first order how the outflows
//! answer to the pressures, so mostly two turns suffice.

use super::{Hold, Supply, SupplyError};
use crate::analysis::columns::{Arrival, Columns, LineStand, NodeStand, Standing, Step};
use crate::analysis::water::WaterSide;
use crate::nonlinear::newton::Options;
use crate::time::Lu;
use nalgebra::DMatrix;

/// Length of the stretch, s, as which an instant is taken: rates are changes over it.
pub(super) const INSTANT: f64 = 1e-5;

/// Change of velocity at an instant that counts as a jump, m/s.
const JUMP: f64 = 1e-7;

/// Velocity lost at an instant that is reported, m/s.
const REPORTED: f64 = 0.05;

/// Most turns between gas and water, and the one from which on the factors are renewed in each.
const TURNS: usize = 12;
const RENEWED: usize = 3;

/// Change of the reach, as a share, from which on J is found anew.
const ANOTHER: f64 = 0.5;

/// Error of a stage that is left, as a share of the tolerance of the run.
const LEFT: f64 = 2e-3;

/// Change of the gas in a turn, as a share of the tolerance, that needs no other turn.
const STILL: f64 = 1e-3;

/// Change up to which one step of Newton's method is all that the water of a first turn gets: the gas then changes, and the
/// next turn goes on from there.
const FIRST: f64 = 0.3;

/// What a moving supply keeps between stages.
#[derive(Debug)]
pub(super) struct Moving {
    /// Instant that the flows stand for, s.
    pub time: f64,
    /// States of the columns then.
    pub base: Vec<f64>,
    /// States of the columns at the start of the run.
    pub first: Vec<f64>,
    /// Factors of `I - reach J` for the gas and the water of the tanks, and the reach they belong to.
    factors: Lu,
    factored: Option<f64>,
    /// Reach of the stage that J was found in: the water answers to the gas over it.
    reach: f64,
    /// Whether J served its last stage within the turns that a good one takes.
    serves: bool,
    /// Share of a change that a turn leaves.
    ratio: f64,
    rates: Vec<f64>,
    rest: Vec<f64>,
    jacobian: DMatrix<f64>,
}

impl Moving {
    pub(super) fn new(first: Vec<f64>) -> Self {
        Moving {
            time: f64::NAN,
            base: first.clone(),
            first,
            factors: Lu::new(0),
            factored: None,
            reach: 0.0,
            serves: false,
            ratio: 0.1,
            rates: Vec::new(),
            rest: Vec::new(),
            jacobian: DMatrix::zeros(0, 0),
        }
    }
}

impl Supply<'_> {
    /// Columns of the water and how it stands in them; `None` where it follows at once.
    pub fn water_columns(&self) -> Option<(&Columns, &Standing)> {
        self.water.columns()
    }

    /// Whether the water is set moving.
    pub fn is_moving(&self) -> bool {
        self.moving.is_some()
    }

    /// First state of the columns in the state vector.
    pub fn columns_at(&self) -> usize {
        2 * self.contents.len() + self.network.tanks.len() + 1 + self.gas_side.dim() + self.moisture_dim()
    }

    /// States of the columns in a state vector.
    pub fn column_states<'y>(&self, y: &'y [f64]) -> &'y [f64] {
        y.get(self.columns_at()..).unwrap_or_default()
    }

    /// Gives another water side, whose water follows at once, the tanks of an instant, and every valve that is not shut fully
    /// open.
    pub fn put_at_rest(&self, rest: &mut WaterSide<'_>, time: f64, y: &[f64]) {
        Hold { network: self.network, contents: &self.contents, dry: &self.dry }.give(rest, time, y);
        for (k, opened) in self.water_valves(time) {
            rest.set_opened(k, if opened > 0.0 { 1.0 } else { 0.0 });
        }
    }

    /// Every water valve and how far it is open at a time within the segment.
    pub fn water_valves(&self, time: f64) -> impl Iterator<Item = (usize, f64)> {
        let valves = self.controls.water.iter().zip(&self.water_motion);
        valves.map(move |((k, course), motion)| (*k, motion.opened(course, time)))
    }

    /// Solves `y = base + reach f(time, y)` from a guess in `y`; `false` where that does not converge.
    ///
    /// `scale`: natural sizes of the state.
    ///
    /// # Errors
    /// Where the supply cannot be computed.
    pub fn stage(
        &mut self,
        time: f64,
        base: &[f64],
        reach: f64,
        y: &mut [f64],
        scale: &[f64],
    ) -> Result<bool, SupplyError> {
        let Some(mut moving) = self.moving.take() else { return Ok(false) };
        self.forget();
        let outcome = self.turns(&mut moving, (time, base, reach), y, scale);
        moving.time = f64::NAN;
        self.moving = Some(moving);
        // What has been solved is the instant at the end of the stretch. Where steps shrink about a law that shuts, an instant is
        // the longer of the two and tells better which side of it the water is on.
        if outcome == Ok(true) && reach >= INSTANT {
            self.stand_at(time, y);
        }
        outcome
    }

    fn turns(
        &mut self,
        moving: &mut Moving,
        (time, base, reach): (f64, &[f64], f64),
        y: &mut [f64],
        scale: &[f64],
    ) -> Result<bool, SupplyError> {
        let at = self.columns_at();
        let gas = at;
        let mut last = f64::INFINITY;
        moving.rates.resize(y.len(), 0.0);
        for turn in 0..TURNS {
            self.fill(time, y)?;
            self.set_water(time, y);
            let step = Step { time, reach, base: &base[at..], states: &y[at..] };
            self.water.load(&step);
            let change = if turn == 0 { FIRST.max(self.options.change) } else { self.options.change };
            self.solve_water_to(&Options { change, ..self.options })?;
            self.exchange_heat(y);
            self.pass_gas(time)?;
            self.rates_of(&step, &mut moving.rates);
            if moving.factored != Some(reach) || turn >= RENEWED {
                moving.serves &= turn < RENEWED;
                moving.serves &= (reach / moving.reach - 1.0).abs() < ANOTHER;
                if !self.factor(moving, gas, reach) {
                    return Ok(false);
                }
            }
            moving.rest.clear();
            moving.rest.extend((0..gas).map(|i| base[i] + reach * moving.rates[i] - y[i]));
            moving.factors.solve(&mut moving.rest);
            let (mut change, mut of_gas) = (0.0_f64, 0.0);
            for i in 0..y.len() {
                let moved = if i < gas { moving.rest[i] } else { base[i] + reach * moving.rates[i] - y[i] };
                y[i] += moved;
                let part = moved.abs() / scale[i].max(y[i].abs()).max(f64::MIN_POSITIVE);
                if !part.is_finite() {
                    return Ok(false);
                }
                change = change.max(part);
                of_gas = if i < gas { change } else { of_gas };
            }
            if of_gas <= STILL * self.network.tolerance && turn > 0 {
                return Ok(true); // the columns were solved with this gas
            }
            if turn > 0 {
                moving.ratio = (change / last).clamp(1e-3, 0.9);
            }
            last = change;
            if change * moving.ratio / (1.0 - moving.ratio) <= LEFT * self.network.tolerance && turn > 0 {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Factors what Newton's method needs for the gas; false where that is singular.
    fn factor(&mut self, moving: &mut Moving, gas: usize, reach: f64) -> bool {
        let dim = self.dim();
        if moving.jacobian.nrows() != dim {
            (moving.jacobian, moving.factors) = (DMatrix::zeros(dim, dim), Lu::new(gas));
        }
        if !moving.serves {
            self.jacobian(&mut moving.jacobian);
            moving.serves = true;
            moving.reach = reach;
        }
        let factored = moving.factors.factor(reach, &moving.jacobian);
        moving.factored = factored.then_some(reach);
        factored
    }

    /// Rates of the whole state over a step just solved.
    pub(super) fn rates_of(&self, step: &Step<'_>, rates: &mut [f64]) {
        let at = self.columns_at();
        self.derivative_at_rest(&mut rates[..at]);
        self.water.column_rates(step, &mut rates[at..]);
    }
}

/// Columns that a restart stops at once: line and velocity lost, m/s.
pub type Stopped = Vec<(usize, f64)>;

impl Supply<'_> {
    /// Brings the way that water stands up to date with a state at a restart, and the state with it; says what arrived and
    /// which columns stop at once.
    ///
    /// # Errors
    /// Where the supply cannot be computed.
    pub fn settle(&mut self, time: f64, y: &mut [f64]) -> Result<(Vec<Arrival>, Stopped), SupplyError> {
        let at = self.columns_at();
        let network = self.network;
        if !self.is_moving() {
            return Ok(Default::default());
        }
        self.fill(time, y)?;
        self.set_water(time, y);
        let (open, unshut) = (self.water.open(), self.water.unshut());
        let Some((columns, standing)) = self.water.columns() else { return Ok(Default::default()) };
        let mut standing = standing.clone();
        let arrivals = columns.settle(&mut standing, network, (&open, &unshut), &mut y[at..]);
        columns.find_air(&mut standing, network, &open, &y[at..]);
        self.water.set_standing(&standing);
        // What a change of the network stops or starts at once: the flows behind two instants, continued to none.
        let states = y[at..].to_vec();
        let mut instants = [Vec::new(), Vec::new()];
        for (flows, reach) in instants.iter_mut().zip([0.01 * INSTANT, 0.02 * INSTANT]) {
            self.water.load(&Step { time, reach, base: &states, states: &states });
            self.solve_water()?;
            let lines = self.water.columns().map_or(0, |(columns, _)| columns.lines.len());
            flows.extend((0..lines).map(|k| self.water.line_flows(k)));
        }
        let mut stopped = Vec::new();
        if let Some((columns, _)) = self.water.columns() {
            for (k, line) in columns.lines.iter().enumerate() {
                let mut state = columns.line(k, &states);
                let flows = [0, 1].map(|side| 2.0 * instants[0][k][side] - instants[1][k][side]);
                let change = (0..2).map(|side| (flows[side] - state.flows[side]).abs()).fold(0.0, f64::max);
                if change > JUMP * line.area {
                    if (state.flows[0] - flows[0]) * state.flows[0] > 0.0 && change > REPORTED * line.area {
                        stopped.push((k, (state.flows[0] - flows[0]).abs() / line.area));
                    }
                    state.flows = flows;
                    columns.set_line(k, state, &mut y[at..]);
                }
            }
        }
        self.forget();
        Ok((arrivals, stopped))
    }

    /// Says how the water stands.
    pub fn set_standing(&mut self, standing: &Standing) {
        self.water.set_standing(standing);
        self.forget();
    }

    /// Takes in that the legs of a line part or come together, or that its fall runs empty or holds water again; the state
    /// with it.
    pub fn change_line(&mut self, line: usize, to: LineStand, y: &mut [f64]) {
        let at = self.columns_at();
        let Some((columns, standing)) = self.water.columns() else { return };
        let mut standing = standing.clone();
        let states = &mut y[at..];
        let gas = columns.gas_side(&standing, line).is_some();
        let mut pocket = 0.0;
        match (standing.lines[line], to) {
            (LineStand::Full, LineStand::Parted) => columns.part(&mut standing, line, states),
            (LineStand::Parted, LineStand::Full) if gas => {
                columns.drain(&mut standing, line, LineStand::Draining(0), states);
            }
            (LineStand::Parted, LineStand::Full) => columns.join(&mut standing, line, states),
            (LineStand::Parted, LineStand::Falling) => columns.run_dry(&mut standing, line, states),
            (LineStand::Falling, LineStand::Parted) => columns.stand_again(&mut standing, line, states),
            (LineStand::Parted | LineStand::Falling, LineStand::Venting | LineStand::Drained(_)) => {
                pocket = columns.lines[line].fall() - columns.line(line, states).volumes[1];
                columns.drain(&mut standing, line, to, states);
            }
            (
                LineStand::Draining(_) | LineStand::Venting,
                LineStand::Parted | LineStand::Venting | LineStand::Drained(_),
            ) => {
                columns.drain(&mut standing, line, to, states);
            }
            _ => {}
        }
        self.water.set_standing(&standing);
        self.take_air(line, pocket, y);
        self.forget();
    }

    /// Above 0 while a vented weir pipe runs full: static pressure at its apex above ambient, Pa. While its legs are parted,
    /// less than 0 by the air between them and a trifle, m3, lest they meet where they part.
    pub fn vent_margin(&self, passage: usize, y: &[f64]) -> f64 {
        let Some((columns, standing)) = self.water.columns() else { return 1.0 };
        let Some(line) = columns.line_of(passage) else { return 1.0 };
        let fall = columns.lines[line].fall();
        match standing.lines[line] {
            LineStand::Full if standing.rests[line] && columns.lines[line].is_still(self.water.line_flows(line)[0]) => {
                1.0
            }
            LineStand::Full | LineStand::Draining(_) => {
                self.water.apex_margin(line, self.column_states(y)).unwrap_or(1.0)
            }
            LineStand::Filling => 1.0,
            LineStand::Venting | LineStand::Drained(_) => -fall,
            LineStand::Parted => columns.line(line, self.column_states(y)).volumes[1] - fall * (1.0 + 1e-9),
            LineStand::Falling => -fall,
        }
    }

    /// Air ahead of the fronts in a line, m3, less than 0 where it has none; or what is left before a front has fallen back to where
    /// it began.
    pub fn front_room(&self, line: usize, y: &[f64]) -> f64 {
        let Some((columns, standing)) = self.water.columns() else { return -1.0 };
        if standing.lines[line] != LineStand::Filling {
            return -1.0;
        }
        let (data, state) = (&columns.lines[line], columns.line(line, self.column_states(y)));
        let room = data.volume - state.volumes.iter().sum::<f64>();
        let fronts = state.volumes.into_iter().zip(state.flows).zip(standing.held[line]);
        fronts.map(|(front, held)| data.left_to_fall(front, held)).fold(room, f64::min)
    }

    /// Room left in an item that starts dry, m3; less than 0 where it is full.
    pub fn basin_room(&self, basin: usize, y: &[f64]) -> f64 {
        let Some((columns, standing)) = self.water.columns() else { return -1.0 };
        let data = &columns.basins[basin];
        match standing.nodes[data.node] {
            NodeStand::Dry => data.volume,
            NodeStand::Filling => data.volume - self.column_states(y)[columns.basin_index(basin)],
            NodeStand::Full => -1.0,
        }
    }

    /// Water in the fall of a parted weir pipe, m3; in an empty one, how far the head behind it is above the one at which
    /// water begins to stand there, Pa.
    pub fn fall_water(&self, line: usize, y: &[f64]) -> f64 {
        let Some((columns, standing)) = self.water.columns() else { return 1.0 };
        let data = &columns.lines[line];
        match standing.lines[line] {
            LineStand::Parted => columns.line(line, self.column_states(y)).volumes[1],
            LineStand::Falling => {
                let flow = self.water.line_flows(line)[0];
                self.water.end_heads(data.passage).map_or(-1.0, |[_, end]| end - data.open_end(self.network, flow))
            }
            LineStand::Full
            | LineStand::Filling
            | LineStand::Draining(_)
            | LineStand::Venting
            | LineStand::Drained(_) => 1.0,
        }
    }

    /// Water left in a line that drains behind a tank that is out, of a vented weir pipe first that in its rise, m3; less than 0
    /// where it has run empty.
    pub fn drain_left(&self, line: usize, y: &[f64]) -> f64 {
        let Some((columns, standing)) = self.water.columns() else { return 1.0 };
        columns.drain_left(standing, line, self.column_states(y))
    }

    /// Whether water that gas or air follows may still run out of a line.
    pub fn is_draining(&self) -> bool {
        self.water.columns().is_some_and(|(columns, standing)| columns.is_draining(standing))
    }

    /// Lets the gas of a tank that is out into what is joined to it.
    pub(super) fn let_gas_follow(&mut self, tank: usize) {
        let Some((_, standing)) = self.water.columns() else { return };
        let mut standing = standing.clone();
        standing.gas[self.network.tanks[tank].node] = true;
        self.water.set_standing(&standing);
    }

    /// Room that the gas of a tank has gained in lines, m3.
    pub(super) fn drained(&self, tank: usize, y: &[f64]) -> f64 {
        if !self.dry[tank] {
            return 0.0;
        }
        let Some((columns, standing)) = self.water.columns() else { return 0.0 };
        columns.drained(standing, tank, self.column_states(y))
    }

    /// Water that the gas of a tank that is out pushes out of lines, m3/s.
    pub(super) fn draining(&self, tank: usize) -> f64 {
        if self.dry[tank] { self.water.draining(tank) } else { 0.0 }
    }
}
