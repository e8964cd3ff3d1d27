//! Single laws of the library by name. Arguments are SI.

use hydro::component::cooling::{self, Drive, Uptake, WettingLimit};
use hydro::component::dual::Dual;
use hydro::component::fitting::{friction_factor_turbulent, loss_coefficient};
use hydro::component::friction::colebrook;
use hydro::component::gas_valve::GasValveLaw;
use hydro::component::hole;
use hydro::component::law::circle;
use hydro::component::tee::{Tee, TeeAngle};
use hydro::component::valve::loss_coefficient_from_kv;
use hydro::fluid::gas::{Gas, GasKind, GasModel, GasState};
use hydro::fluid::site::Site;
use hydro::fluid::water;

/// Value of the law `name` with its arguments, separated by blanks.
pub fn value(name: &str, arguments: &str) -> Result<f64, String> {
    let words: Vec<&str> = arguments.split_whitespace().collect();
    let x = |k: usize| -> Result<f64, String> {
        let word = words.get(k).ok_or(format!("{name} lacks argument {}", k + 1))?;
        word.parse().map_err(|e| format!("{word}: {e}"))
    };
    let water = |f: fn(f64, f64) -> Result<f64, water::WaterError>| f(x(0)?, x(1)?).map_err(|e| e.to_string());
    Ok(match name {
        "friction_factor" => colebrook(x(0)?, x(1)?).0,
        "turbulent_friction" => friction_factor_turbulent(x(0)?),
        "fitting" => loss_coefficient(words.first().unwrap_or(&""), x(1)?).ok_or("no such fitting")?.k,
        // angle, flow of the branch over the common flow, bore of the branch over that of the run
        "tee_branch_dividing" => tee(&words)?.0.branch_dividing(tee(&words)?.1).value,
        "tee_run_dividing" => tee(&words)?.0.run_dividing(tee(&words)?.1).value,
        "tee_branch_combining" => tee(&words)?.0.branch_combining(tee(&words)?.1).value,
        "tee_run_combining" => tee(&words)?.0.run_combining(tee(&words)?.1).value,
        "loss_of_kv" => loss_coefficient_from_kv(x(0)?, x(1)?),
        "thick_plate" => hole::thick_plate_coefficient(x(0)?),
        "deep_hole" => hole::turbulent_coefficient(x(0)?),
        // depth Reynolds
        "hole_at_reynolds" => {
            let loss = hole::turbulent_coefficient(x(0)?).powi(-2) + hole::reynolds_loss(x(0)?) / x(1)?;
            loss.powf(-0.5)
        }
        // coefficient, pressure outside, vapour pressure
        "cavitation_drop" => hole::cavitation_drop(x(0)?, x(1)?, x(2)?).ok_or("no cavitation")?,
        "water_volume" => 1.0 / water(water::density)?,
        "water_density" => water(water::density)?,
        "water_enthalpy" => water(water::enthalpy)?,
        "water_cp" => water(water::cp)?,
        "water_sound" => water(water::speed_of_sound)?,
        "water_viscosity" => water(water::viscosity)?,
        "water_viscosity_at_density" => viscosity_at_density(x(0)?, x(1)?)?,
        "water_bulk_modulus" => water::Water::at(x(0)?, x(1)?).map_err(|e| e.to_string())?.bulk_modulus(),
        "vapour_pressure" => water::vapour_pressure(x(0)?).map_err(|e| e.to_string())?,
        "saturation_temperature" => water::saturation_temperature(x(0)?).map_err(|e| e.to_string())?,
        "surface_tension" => water::surface_tension(x(0)?).map_err(|e| e.to_string())?,
        // coefficient pressure gravity
        "critical_heat_flux" => {
            let saturation = water::Saturation::at_pressure(x(1)?).map_err(|e| e.to_string())?;
            cooling::critical_heat_flux(&saturation, x(0)?, x(2)?).ok_or("no surface tension")?
        }
        // pressure, water temperature, share that evaporates
        "uptake" => {
            let pressure = x(0)?;
            let site = site(x(1)?)?;
            let uptake = Uptake::at(pressure, &site).ok_or("no saturation")?;
            uptake.sensible + x(2)? * uptake.latent
        }
        // water temperature, contact angle, inclination
        "wetting_film" => {
            let (contact_angle, inclination) = (x(1)?.to_radians(), x(2)?.to_radians());
            let limit = WettingLimit { contact_angle, drive: Drive::Weight(inclination) };
            limit.film(&site(x(0)?)?).ok_or("no surface tension")?
        }
        "latent_heat" => water::Saturation::at_temperature(x(0)?).map_err(|e| e.to_string())?.latent_heat(),
        // gas pressure temperature
        "compressibility" => {
            let (gas, state) = gas(&words)?;
            state.pressure / (state.density * gas.gas_constant() * state.temperature)
        }
        "gas_density" => gas(&words)?.1.density,
        "critical_flux" => throat(&words)?.2.mass_flux,
        "critical_ratio" => {
            let (_, state, throat) = throat(&words)?;
            throat.pressure / state.pressure
        }
        "critical_flow_function" => {
            let (gas, state, throat) = throat(&words)?;
            throat.mass_flux * (gas.gas_constant() * state.temperature).sqrt() / state.pressure
        }
        // gas pressure temperature, then downstream pressure and the data of the valve
        "throat_flow" => {
            let bore = (x(4)? / std::f64::consts::FRAC_PI_4).sqrt();
            debug_assert!((circle(bore) / x(4)? - 1.0).abs() < 1e-14);
            flow(&words, GasValveLaw::Throat { bore, discharge_coefficient: 1.0 }, x(3)?)?
        }
        "kv_flow" => flow(&words, GasValveLaw::Kv { kv: x(4)?, xt: x(5)? }, x(3)?)?,
        "sonic_flow" => flow(&words, GasValveLaw::Sonic { conductance: x(4)?, critical_ratio: x(5)? }, x(3)?)?,
        _ => return Err(format!("no law `{name}`")),
    })
}

/// A tee of the angle and bores in the words, and its ratio of flows.
fn tee(words: &[&str]) -> Result<(Tee, Dual), String> {
    let [angle, y, bores] = words else { return Err("ANGLE Y BORES".into()) };
    let number = |text: &str| text.parse::<f64>().map_err(|e| format!("{text}: {e}"));
    let angle = TeeAngle::from_words(&format!("{angle} deg")).ok_or(format!("no angle {angle}"))?;
    Ok((Tee { area_ratio: number(bores)?.powi(2), angle }, Dual::constant(number(y)?)))
}

/// Water of a temperature, K, at 1 atm.
fn site(temperature: f64) -> Result<Site, String> {
    let at = |f: fn(f64, f64) -> Result<f64, water::WaterError>| f(temperature, 101_325.0).map_err(|e| e.to_string());
    Ok(Site {
        ambient_pressure: 101_325.0,
        ambient_temperature: temperature,
        water_temperature: temperature,
        gravity: 9.80665,
        water_density: at(water::density)?,
        water_viscosity: at(water::viscosity)?,
        water_vapour_pressure: water::vapour_pressure(temperature).map_err(|e| e.to_string())?,
    })
}

/// The gas that the first word names and its state at the pressure and temperature that follow.
fn gas(words: &[&str]) -> Result<(Gas, GasState), String> {
    let [name, pressure, temperature, ..] = words else { return Err("GAS PRESSURE TEMPERATURE".into()) };
    let gas = match *name {
        "nitrogen" => Gas::new(GasKind::Nitrogen, GasModel::Real),
        "air" => Gas::new(GasKind::Air, GasModel::Real),
        "ideal_nitrogen" => Gas::new(GasKind::Nitrogen, GasModel::Ideal),
        "ideal_air" => Gas::new(GasKind::Air, GasModel::Ideal),
        _ => return Err(format!("no gas `{name}`")),
    };
    let number = |text: &str| text.parse::<f64>().map_err(|e| format!("{text}: {e}"));
    let state = gas.state_p_t(number(pressure)?, number(temperature)?).map_err(|e| e.to_string())?;
    Ok((gas, state))
}

fn throat(words: &[&str]) -> Result<(Gas, GasState, hydro::fluid::gas::Throat), String> {
    let (gas, state) = gas(words)?;
    let throat = gas.critical_flow(&state, None).map_err(|e| e.to_string())?;
    Ok((gas, state, throat))
}

fn flow(words: &[&str], law: GasValveLaw, downstream: f64) -> Result<f64, String> {
    let (gas, state) = gas(words)?;
    Ok(law.flow(&gas, &state, downstream, None).map_err(|e| e.to_string())?.mass_flow)
}

/// Viscosity at a temperature (K) and a density (kg/m3), whose pressure is found by bisection.
fn viscosity_at_density(temperature: f64, density: f64) -> Result<f64, String> {
    let (mut low, mut high) = (1e5, 100e6);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        let less = water::density(temperature, middle).map_err(|e| e.to_string())? < density;
        *(if less { &mut low } else { &mut high }) = middle;
    }
    let found = water::density(temperature, low).map_err(|e| e.to_string())?;
    if (found / density - 1.0).abs() > 1e-9 {
        return Err(format!("{density} kg/m3 is beyond {found} kg/m3"));
    }
    water::viscosity(temperature, low).map_err(|e| e.to_string())
}
