//! The series of a run as CSV: a header `name [unit]`, SI, one row a time.

use std::io::{self, Write};

use crate::result::{At, FitResult, FlowResult, GasSideSeries, RunResult};

/// Writes the series of a run.
///
/// The first column is the time; then tanks, gas banks, gas headers, gas valves, panels and passages in the order of
/// the file. Numbers are the shortest text that reads back as the same number; a value that does not exist is empty.
///
/// # Errors
/// What the writer reports.
pub fn write_run(result: &RunResult, out: impl Write) -> io::Result<()> {
    let columns = columns(result);
    let mut writer = csv::Writer::from_writer(out);
    writer.write_record(columns.iter().map(|(header, _)| header.as_str()))?;
    for row in 0..result.series.time.len() {
        writer.write_record(columns.iter().map(|(_, values)| cell(values.get(row).copied())))?;
    }
    writer.flush()
}

/// Writes the cells of the panels of a steady flow: one row a cell.
///
/// Pressures are absolute; what is not known is empty.
///
/// # Errors
/// What the writer reports.
pub fn write_cells(result: &FlowResult, out: impl Write) -> io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    let header = "panel,x [m],y [m],area [m2],holes,pressure [Pa],plume pressure [Pa],flow [m3/s],flux [m/s],\
                  hole velocity [m/s],of cold flow,heat flux [W/m2],needed flux [m/s]";
    writer.write_record(header.split(','))?;
    for panel in &result.panels {
        for c in &panel.cells {
            let numbers = [c.center[0], c.center[1], c.area, c.holes].map(Some);
            let behind = [c.pressure, Some(c.plume_pressure), Some(c.flow), Some(c.flux), Some(c.hole_velocity)];
            let load = [c.cold_flow_share, c.heat_flux, c.needed_flux];
            writer.write_field(panel.name.as_str())?;
            writer.write_record(numbers.into_iter().chain(behind).chain(load).map(cell))?;
        }
    }
    writer.flush()
}

/// Writes what the cells of the panels got from ignition to the end of hold of a run: one row a cell.
///
/// What does not exist is empty; whether the plume enters is 1 or 0.
///
/// # Errors
/// What the writer reports.
pub fn write_run_cells(result: &RunResult, out: impl Write) -> io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    let header = "panel,x [m],y [m],area [m2],holes,required flux [m/s],lowest flux [m/s],lowest flux at [s],mean flux [m/s],\
                  margin,lowest over plume [Pa],lowest over plume at [s],plume enters,lowest heat margin,\
                  lowest heat margin at [s]";
    writer.write_record(header.split(','))?;
    for panel in &result.panels {
        for c in &panel.cells {
            let at = |at: Option<At>| [at.map(|at| at.value), at.map(|at| at.time)];
            let numbers = [c.center[0], c.center[1], c.area, c.holes].map(Some);
            let flux = [Some(c.lowest_flux.value), Some(c.lowest_flux.time), Some(c.mean_flux)];
            let numbers = numbers.into_iter().chain([panel.required_flux]).chain(flux);
            let numbers = numbers.chain([c.margin(panel.required_flux)]).chain(at(c.over_plume));
            let numbers = numbers.chain([Some(f64::from(u8::from(c.plume_enters)))]).chain(at(c.heat_margin));
            writer.write_field(panel.name.as_str())?;
            writer.write_record(numbers.map(cell))?;
        }
    }
    writer.flush()
}

/// Writes what was measured and what the model says, SI: one row a datum, `column, time [s], measured, model, residual,
/// residual over noise`.
///
/// # Errors
/// What the writer reports.
pub fn write_fit(result: &FitResult, out: impl Write) -> io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    writer.write_record(["column", "time [s]", "measured", "model", "residual", "residual over noise"])?;
    for column in &result.columns {
        for [time, measured, model] in &column.rows {
            let residual = measured - model;
            let numbers = [*time, *measured, *model, residual, residual / column.noise].map(|v| cell(Some(v)));
            writer.write_record(std::iter::once(column.name.clone()).chain(numbers))?;
        }
    }
    writer.flush()
}

/// Header and values of every column.
fn columns(result: &RunResult) -> Vec<(String, &[f64])> {
    let series = &result.series;
    let mut columns: Vec<(String, &[f64])> = vec![("time [s]".to_string(), &series.time)];
    for tank in &series.tanks {
        columns.push((format!("{} pressure [Pa]", tank.name), &tank.pressure));
        columns.push((format!("{} water [m3]", tank.name), &tank.water));
        columns.push((format!("{} gas temperature [K]", tank.name), &tank.gas_temperature));
        columns.push((format!("{} outflow [m3/s]", tank.name), &tank.outflow));
        columns.extend(side(&tank.name, &tank.side));
    }
    for vessel in series.gas_banks.iter().chain(&series.gas_headers) {
        columns.push((format!("{} pressure [Pa]", vessel.name), &vessel.pressure));
        columns.push((format!("{} temperature [K]", vessel.name), &vessel.temperature));
        columns.push((format!("{} mass [kg]", vessel.name), &vessel.mass));
        columns.extend(side(&vessel.name, &vessel.side));
    }
    for valve in &series.gas_valves {
        columns.push((format!("{} flow [kg/s]", valve.name), &valve.flow));
    }
    for item in series.panels.iter().chain(&series.passages) {
        columns.push((format!("{} flow [m3/s]", item.name), &item.flow));
    }
    columns
}

/// Metal and outlets of a gas vessel, as far as it has them.
fn side<'s>(name: &str, side: &'s GasSideSeries) -> Vec<(String, &'s [f64])> {
    let columns = [
        (format!("{name} wall temperature [K]"), side.wall_temperature.as_slice()),
        (format!("{name} vapour pressure [Pa]"), side.vapour_pressure.as_slice()),
        (format!("{name} relief [kg/s]"), side.relief.as_slice()),
        (format!("{name} vent-down [kg/s]"), side.vent_down.as_slice()),
    ];
    columns.into_iter().filter(|(_, values)| !values.is_empty()).collect()
}

/// One number.
fn cell(value: Option<f64>) -> String {
    value.filter(|v| v.is_finite()).map_or_else(String::new, |v| v.to_string())
}

#[cfg(test)]
mod tests {
    use crate::report::examples;

    #[test]
    fn series_read_back_as_the_same_numbers() {
        let result = examples::run();
        let mut bytes = Vec::new();
        super::write_run(&result, &mut bytes).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let headers = reader.headers().unwrap().clone();
        assert_eq!(&headers[0], "time [s]");
        let pressure = headers.iter().position(|h| h == "north, lower pressure [Pa]").unwrap();
        let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), result.series.time.len());
        for (row, expected) in rows.iter().zip(&result.series.tanks[0].pressure) {
            assert_eq!(row[pressure].parse::<f64>().unwrap(), *expected);
        }
    }

    #[test]
    fn values_that_are_no_numbers_are_empty() {
        assert_eq!(super::cell(Some(f64::NAN)), "");
        assert_eq!(super::cell(None), "");
        assert_eq!(super::cell(Some(0.1)), "0.1");
    }
}
