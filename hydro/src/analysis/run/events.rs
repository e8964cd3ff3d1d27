//! Events of the columns of water: where water arrives, what is full, what stops at once and with what surge.

use crate::analysis::columns::{Arrival, Columns};
use crate::fluid::water;
use crate::network::Network;
use crate::result::EventCode;

/// Wave speed where the water is outside the range of its tables, m/s.
const WAVE_SPEED: f64 = 1480.0;

/// Events at one restart: code, item, sentence.
pub fn of(
    network: &Network,
    columns: &Columns,
    arrivals: &[Arrival],
    stopped: &[(usize, f64)],
) -> Vec<(EventCode, String, String)> {
    let node = |node: usize| network.nodes[node].name.to_string();
    let passage = |line: usize| network.passages[columns.lines[line].passage].name.to_string();
    let bar = |pascal: f64| format!("{:.1} bar", pascal / 1e5);
    let speed =
        water::speed_of_sound(network.site.water_temperature, network.site.ambient_pressure).unwrap_or(WAVE_SPEED);
    let arrived = arrivals.iter().map(|arrival| match *arrival {
        Arrival::Reached { node: n } => (EventCode::WaterArrives, node(n), format!("water reaches {}", node(n))),
        Arrival::Filled { node: n, flow } => {
            let (feed, holes) = (columns.feeds[n], Columns::hole_area(network, n));
            let surge = Columns::slam(network, feed, flow / feed, holes, speed);
            let text = format!("{} is full; the surge at its holes is at most about {}", node(n), bar(surge));
            (EventCode::Filled, node(n), text)
        }
        Arrival::LineFull { line, velocity } => {
            let text = format!("{} is full; its front came with {velocity:.2} m/s", passage(line));
            (EventCode::Filled, passage(line), text)
        }
    });
    let stops = stopped.iter().map(|&(line, lost)| {
        let surge = bar(Columns::slam(network, 1.0, lost, 0.0, speed));
        let text = format!("{} loses {lost:.2} m/s at once: a surge of up to {surge} in a rigid pipe", passage(line));
        (EventCode::ColumnStops, passage(line), text)
    });
    arrived.chain(stops).collect()
}
