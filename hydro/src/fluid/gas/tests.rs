use aga8::composition::Composition;
use aga8::gerg2008::Gerg2008;

use super::ideal::GAMMA;
use super::*;

const KINDS: [GasKind; 2] = [GasKind::Nitrogen, GasKind::Air];

fn close(value: f64, expected: f64, relative: f64) {
    assert!((value - expected).abs() <= relative * expected.abs(), "{value} against {expected}");
}

fn real(kind: GasKind) -> Gas {
    Gas::new(kind, GasModel::Real)
}

fn ideal(kind: GasKind) -> Gas {
    Gas::new(kind, GasModel::Ideal)
}

/// Source: crate `aga8` 0.6 (port of the NIST code of GERG-2008). Both sum the same terms, so they agree to rounding:
/// 1e-12, for energies of the thermal energy R T, because their zero is arbitrary.
#[test]
fn equals_the_generic_evaluation() {
    for kind in KINDS {
        let gas = real(kind);
        let mut generic = Gerg2008::new();
        let composition = match kind {
            GasKind::Nitrogen => Composition { nitrogen: 1.0, ..Default::default() },
            GasKind::Air => {
                let [nitrogen, oxygen, argon] = gerg2008::air_fractions();
                Composition { nitrogen, oxygen, argon, ..Default::default() }
            }
        };
        assert!(generic.set_composition(&composition).is_ok());
        generic.molar_mass();
        let molar = generic.mm * 1e-3;
        close(gas.molar_mass(), molar, 1e-14);
        let mut compared = 0;
        for density in [1e-3, 0.1, 1.0, 10.0, 50.0, 100.0, 200.0, 300.0, 400.0, 500.0] {
            for temperature in [60.0, 80.0, 100.0, 127.0, 140.0, 200.0, 300.0, 450.0, 700.0] {
                let Ok(state) = gas.state_rho_t(density, temperature) else { continue };
                generic.d = density / molar * 1e-3;
                generic.t = temperature;
                let pressure = generic.properties() * 1e3;
                let thermal = 8.314472 * temperature / molar;
                close(state.pressure, pressure, 1e-12);
                close(state.dp_drho, generic.dp_dd / molar, 1e-12);
                close(state.dp_dt, generic.dp_dt * 1e3, 1e-12);
                close(state.cv, generic.cv / molar, 1e-12);
                close(state.cp, generic.cp / molar, 1e-11); // a quotient by dp/drho, near zero at the dome
                close(state.speed_of_sound, generic.w, 1e-12);
                assert!((state.internal_energy - generic.u / molar).abs() < 1e-12 * thermal);
                assert!((state.enthalpy - generic.h / molar).abs() < 1e-12 * thermal);
                assert!((state.entropy - generic.s / molar).abs() < 1e-11 * state.cv);
                compared += 1;
            }
        }
        assert!(compared > 60, "{compared}");
    }
}

/// Source: CoolProp 8.0.0, density (kg/m3) by Span et al. (2000) for nitrogen and Lemmon et al. (2000) for air.
/// GERG-2008 is a shorter equation: it states 0.1 % up to 35 MPa, and is within 0.02 % of the reference equation of
/// nitrogen to 30 MPa; air is a mixture in it, and the reference a pseudo-pure gas.
#[test]
fn density_as_by_the_reference_equations() {
    let nitrogen = real(GasKind::Nitrogen);
    for (bar, at_250, at_300, at_350) in [
        (1.0, 1.3488, 1.1233, 0.9625),
        (10.0, 13.5801, 11.2488, 9.6136),
        (50.0, 69.5435, 56.3445, 47.6684),
        (100.0, 140.5924, 111.7254, 93.7410),
        (200.0, 268.0960, 212.5372, 178.0313),
        (300.0, 362.7576, 294.7812, 249.6801),
        (400.0, 430.9755, 359.7872, 309.2821),
    ] {
        for (temperature, density) in [(250.0, at_250), (300.0, at_300), (350.0, at_350)] {
            let state = nitrogen.state_p_t(bar * 1e5, temperature).unwrap();
            close(state.density, density, if bar > 300.0 { 4e-4 } else { 2e-4 });
            close(state.pressure, bar * 1e5, 1e-13);
        }
    }
    let air = real(GasKind::Air);
    for (bar, density) in [(1.0, 1.1616), (100.0, 116.9333), (200.0, 225.0313), (300.0, 314.3078)] {
        close(air.state_p_t(bar * 1e5, 300.0).unwrap().density, density, 1e-3);
    }
}

/// Source: CoolProp 8.0.0, maximising `rho sqrt(2(h0-h))` along the isentrope: `C* = G sqrt(R T0)/p0` and `p*/p0`.
/// Tolerances: GERG-2008 against the reference equations, as for the density.
#[test]
fn critical_flow_as_by_the_reference_equations() {
    let nitrogen = real(GasKind::Nitrogen);
    for (bar, c, ratio, flux) in [
        (1.0, 0.68492, 0.5282, 229.53),
        (10.0, 0.68709, 0.5270, 2302.60),
        (50.0, 0.69645, 0.5210, 11669.95),
        (100.0, 0.70703, 0.5116, 23694.23),
        (200.0, 0.72167, 0.4874, 48370.07),
        (300.0, 0.72617, 0.4601, 73007.59),
    ] {
        let throat = nitrogen.critical_flow(&nitrogen.state_p_t(bar * 1e5, 300.0).unwrap(), None).unwrap();
        close(throat.mass_flux, flux, 1e-4);
        close(throat.mass_flux * (nitrogen.gas_constant() * 300.0).sqrt() / (bar * 1e5), c, 1e-4);
        assert!((throat.pressure / (bar * 1e5) - ratio).abs() < 2e-4);
    }
    let cold = nitrogen.critical_flow(&nitrogen.state_p_t(300e5, 273.15).unwrap(), None).unwrap();
    close(cold.mass_flux * (nitrogen.gas_constant() * 273.15).sqrt() / 300e5, 0.74716, 1e-4);
    let air = real(GasKind::Air);
    for (bar, flux, ratio) in [(1.0, 233.46, 0.5280), (100.0, 24189.17, 0.5127), (300.0, 75229.41, 0.4619)] {
        let throat = air.critical_flow(&air.state_p_t(bar * 1e5, 300.0).unwrap(), None).unwrap();
        close(throat.mass_flux, flux, 1e-3);
        assert!((throat.pressure / (bar * 1e5) - ratio).abs() < 5e-4);
    }
}

/// Source: closed forms of gas dynamics for gamma = 1.4; 0.5283 and 0.6847 are in any text.
#[test]
fn ideal_critical_flow() {
    for kind in KINDS {
        let gas = ideal(kind);
        let state = gas.state_p_t(80e5, 300.0).unwrap();
        let throat = gas.critical_flow(&state, None).unwrap();
        close(throat.mass_flux * (gas.gas_constant() * 300.0).sqrt() / 80e5, 0.684_731_456_377_270_4, 1e-12);
        close(throat.pressure / 80e5, 0.528_281_787_717_174_2, 1e-12);
        close(throat.temperature, 250.0, 1e-12);
        // subsonic at r = 0.8: G = p0/sqrt(R T0) sqrt(2 g/(g-1) (r^(2/g) - r^((g+1)/g)))
        let flux = gas.mass_flux(&state, 64e5, None).unwrap();
        let r = 0.8_f64;
        let square = 2.0 * GAMMA / (GAMMA - 1.0) * (r.powf(2.0 / GAMMA) - r.powf((GAMMA + 1.0) / GAMMA));
        close(flux.mass_flux, 80e5 / (gas.gas_constant() * 300.0).sqrt() * square.sqrt(), 1e-12);
    }
}

/// Real gas at low pressure becomes ideal: at 100 Pa the pressure is rho R T to the second virial coefficient (about
/// -4 cm3/mol at 300 K, 2e-7 here), and nitrogen's cp is 3.5 R but for 0.1 % of vibration.
#[test]
fn thin_gas_is_ideal() {
    let gas = real(GasKind::Nitrogen);
    let state = gas.state_p_t(100.0, 300.0).unwrap();
    close(state.density * gas.gas_constant() * 300.0, 100.0, 1e-6);
    close(state.cp, 3.5 * gas.gas_constant(), 2e-3);
    close(state.speed_of_sound, (1.4 * gas.gas_constant() * 300.0).sqrt(), 1e-3);
}

/// Derivatives against central differences of step 1e-5 (error about 1e-9), Maxwell's relations and `cp - cv`.
#[test]
fn states_are_consistent() {
    for (kind, model) in KINDS.iter().flat_map(|kind| [(*kind, GasModel::Real), (*kind, GasModel::Ideal)]) {
        let gas = Gas::new(kind, model);
        for (density, t) in [(1.0, 90.0), (40.0, 150.0), (200.0, 180.0), (250.0, 300.0), (400.0, 320.0), (5.0, 600.0)] {
            let at = |density, t| gas.state_rho_t(density, t).unwrap();
            let s = at(density, t);
            let (dr, dt) = (1e-5 * density, 1e-5 * t);
            let (right, left) = (at(density + dr, t), at(density - dr, t));
            let (warm, cold) = (at(density, t + dt), at(density, t - dt));
            let by_density = |f: fn(&GasState) -> f64| (f(&right) - f(&left)) / (2.0 * dr);
            let by_temperature = |f: fn(&GasState) -> f64| (f(&warm) - f(&cold)) / (2.0 * dt);
            close(by_density(|s| s.pressure), s.dp_drho, 1e-7);
            close(by_temperature(|s| s.pressure), s.dp_dt, 1e-7);
            close(by_temperature(|s| s.internal_energy), s.cv, 1e-7);
            close(by_temperature(|s| s.entropy), s.cv / t, 1e-7);
            close(by_density(|s| s.entropy), -s.dp_dt / (density * density), 1e-7);
            assert!((by_density(|s| s.internal_energy) - s.du_drho()).abs() < 1e-6 * s.pressure / density.powi(2));
            close(s.enthalpy, s.internal_energy + s.pressure / density, 1e-12);
            close(s.cp - s.cv, t * s.dp_dt.powi(2) / (density.powi(2) * s.dp_drho), 1e-12);
            close(s.speed_of_sound.powi(2), s.cp / s.cv * s.dp_drho, 1e-12);
            // back from (rho, u) and (p, T), from a guess far away
            let back = gas.state_rho_u(density, s.internal_energy, 400.0).unwrap();
            close(back.temperature, t, 1e-12);
            close(back.pressure, s.pressure, 1e-12);
            assert!((back.entropy - s.entropy).abs() < 1e-12 * s.cv);
            close(gas.state_p_t(s.pressure, t).unwrap().density, density, 1e-12);
        }
    }
}

/// The critical flux against a golden-section search of the greatest flux along the isentrope, and the throat is as
/// fast as sound. The search sees the flux to rounding, 1e-12.
#[test]
fn critical_flow_is_the_greatest() {
    for kind in KINDS {
        let gas = real(kind);
        for (pressure, temperature) in [(1e5, 300.0), (240e5, 293.0), (400e5, 310.0), (60e5, 150.0), (10e5, 110.0)] {
            let state = gas.state_p_t(pressure, temperature).unwrap();
            let throat = gas.critical_flow(&state, None).unwrap();
            let end = gas.state_rho_t(throat.density, throat.temperature).unwrap();
            close(end.entropy - state.entropy + state.cp, state.cp, 1e-9);
            close((2.0 * (state.enthalpy - end.enthalpy)).sqrt(), end.speed_of_sound, 1e-6);
            let flux = |p: f64| gas.mass_flux(&state, p, None).unwrap().mass_flux;
            let (mut low, mut high) = (throat.pressure * 1.0000001, 0.95 * pressure);
            for _ in 0..60 {
                let (a, b) = (low + 0.382 * (high - low), high - 0.382 * (high - low));
                if flux(a) > flux(b) { high = b } else { low = a }
            }
            close(flux(low), throat.mass_flux, 1e-9);
        }
    }
}

/// The slope of the flux against differences; the flux and its slope join at the critical pressure; a guess changes
/// the result by no more than the stated accuracy.
#[test]
fn flux_is_smooth_and_its_slope_exact() {
    for (kind, model) in KINDS.iter().flat_map(|kind| [(*kind, GasModel::Real), (*kind, GasModel::Ideal)]) {
        let gas = Gas::new(kind, model);
        let state = gas.state_p_t(150e5, 280.0).unwrap();
        let critical = gas.critical_flow(&state, None).unwrap();
        let flux = |p: f64| gas.mass_flux(&state, p, None).unwrap();
        for share in [0.6, 0.8, 0.95, 0.99] {
            let p = share * state.pressure;
            let step = 1e-4 * (state.pressure - p);
            let slope = (flux(p + step).mass_flux - flux(p - step).mass_flux) / (2.0 * step);
            close(flux(p).d_flux_d_downstream, slope, 1e-6);
            by_upstream(&gas, &state, p);
            let warm = gas.mass_flux(&state, p, Some(&flux(0.97 * p).throat)).unwrap();
            close(warm.mass_flux, flux(p).mass_flux, 1e-10);
            assert!(!flux(p).choked && flux(p).choking < 0.0);
        }
        // both ways of taking the small drop meet: the flux over the root of the drop is smooth at 0.1 %
        let root = |drop: f64| flux(state.pressure * (1.0 - drop)).mass_flux / drop.sqrt();
        close(root(0.000_999_999), root(0.001_000_001), 1e-8);
        close(root(1e-9), (2.0 * state.density * state.pressure).sqrt(), 1e-6);
        let (above, below) = (flux(critical.pressure * 1.000_01), flux(critical.pressure * 0.999_99));
        assert!(below.choked && below.choking > 0.0 && below.d_flux_d_downstream == 0.0);
        assert!(!above.choked && above.d_flux_d_downstream.abs() < 1e-4 * critical.mass_flux / critical.pressure);
        close(above.mass_flux, below.mass_flux, 1e-9);
        by_upstream(&gas, &state, 0.5 * critical.pressure);
        let rest = flux(state.pressure);
        assert_eq!(rest.by_upstream(&state), [0.0; 2]);
        assert_eq!((rest.mass_flux, rest.d_flux_d_downstream), (0.0, 0.0));
    }
}

/// The slopes with the state upstream against differences, of a thousandth (of the drop): over that a slope bends by some 1e-6 of
/// itself, and the flux is good to 1e-9.
fn by_upstream(gas: &Gas, state: &GasState, downstream: f64) {
    let flux = |pressure: f64, temperature: f64| {
        gas.mass_flux(&gas.state_p_t(pressure, temperature).unwrap(), downstream, None).unwrap().mass_flux
    };
    let (p, t) = (state.pressure, state.temperature);
    let [by_pressure, by_temperature] = gas.mass_flux(state, downstream, None).unwrap().by_upstream(state);
    let step = 1e-3 * (1.0 - downstream / p);
    close(by_pressure, (flux(p * (1.0 + step), t) - flux(p * (1.0 - step), t)) / (2.0 * step * p), 1e-5);
    close(by_temperature, (flux(p, t * (1.0 + 1e-3)) - flux(p, t * (1.0 - 1e-3))) / (2e-3 * t), 1e-5);
}

/// A bank from 240 bar to 10 bar at constant entropy, downwards with each result as the guess of the next.
#[test]
fn deep_expansion_stays_solvable() {
    for kind in KINDS {
        let gas = real(kind);
        let start = gas.state_p_t(240e5, 293.15).unwrap();
        let (mut density, mut temperature) = (start.density, start.temperature);
        let mut throat = None;
        let mut state = start;
        while state.pressure > 10e5 {
            state = gas.state_rho_t(density, temperature).unwrap();
            let warm = gas.critical_flow(&state, throat.as_ref()).unwrap();
            let cold = gas.critical_flow(&state, None).unwrap();
            close(warm.mass_flux, cold.mass_flux, 1e-9);
            throat = Some(warm);
            // dT/drho = T dp/dT/(rho^2 cv) along the isentrope, midpoint rule
            let step = -0.005 * density;
            let slope = |s: &GasState| s.temperature * s.dp_dt / (s.density * s.density * s.cv);
            let middle = gas.state_rho_t(density + 0.5 * step, temperature + 0.5 * step * slope(&state)).unwrap();
            temperature += step * slope(&middle);
            density += step;
        }
        assert!(state.temperature > 90.0 && state.temperature < 120.0, "{}", state.temperature);
        close(state.entropy - start.entropy + start.cp, start.cp, 1e-3);
    }
}

/// Saturation pressure of nitrogen: 778.3 kPa at 100 K (Span et al. 2000, by CoolProp 8.0.0: 7.7827e5 Pa).
#[test]
fn liquid_is_refused() {
    let gas = real(GasKind::Nitrogen);
    close(gas.saturation_pressure(100.0).unwrap(), 7.7827e5, 1e-3);
    assert_eq!(gas.saturation_pressure(130.0), None);
    assert!(matches!(gas.state_p_t(8e5, 100.0), Err(GasError::Condenses { .. })));
    let state = gas.state_p_t(7.5e5, 100.0).unwrap();
    assert!(!gas.is_supersaturated(&state));
    assert!(gas.is_supersaturated(&gas.state_rho_t(1.2 * state.density, 100.0).unwrap()));
    for density in [200.0, 400.0, 690.0] {
        assert!(matches!(gas.state_rho_t(density, 100.0), Err(GasError::Condenses { .. })), "{density}");
    }
}

#[test]
fn nonsense_is_an_error() {
    let strange = [0.0, -1.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300];
    for (kind, model) in KINDS.iter().flat_map(|kind| [(*kind, GasModel::Real), (*kind, GasModel::Ideal)]) {
        let gas = Gas::new(kind, model);
        let good = gas.state_p_t(100e5, 300.0).unwrap();
        for x in strange {
            if model == GasModel::Real || x < 1e300 || !x.is_finite() {
                assert!(gas.state_rho_t(x, 300.0).is_err() && gas.state_rho_t(10.0, x).is_err());
                assert!(gas.state_p_t(x, 300.0).is_err() && gas.state_p_t(1e5, x).is_err());
                assert!(gas.state_rho_u(x, 2e5, 300.0).is_err());
            }
            if x.is_nan() || (model == GasModel::Real && x.abs() > 1.0) {
                assert!(gas.state_rho_u(10.0, x, 300.0).is_err());
            }
            // a strange guess does no harm
            close(gas.state_rho_u(good.density, good.internal_energy, x).unwrap().temperature, 300.0, 1e-12);
            assert!(gas.mass_flux(&good, x, None).is_ok() == x.is_finite());
        }
    }
    let error = real(GasKind::Air).state_p_t(800e5, 300.0).unwrap_err();
    assert_eq!(error.to_string(), "the gas is at 80000000 Pa, outside 0 to 70000000 Pa (absolute)");
}

/// Dry air of 28.96546 g/mol; its real fractions are 78.08 % nitrogen, 20.95 % oxygen, 0.93 % argon and 0.04 % carbon
/// dioxide (US Standard Atmosphere 1976), which argon stands for.
#[test]
fn air_is_air() {
    let [nitrogen, oxygen, argon] = gerg2008::air_fractions();
    close(nitrogen + oxygen + argon, 1.0, 1e-15);
    assert!((oxygen - 0.2095).abs() < 3e-4 && (argon - 0.0097).abs() < 3e-4);
    close(real(GasKind::Air).molar_mass(), 28.96546e-3, 1e-14);
    close(ideal(GasKind::Air).molar_mass(), 28.96546e-3, 1e-15);
}

/// Against the state from the equation itself; nothing further away.
#[test]
fn states_nearby_are_found_to_first_order() {
    for gas in KINDS.into_iter().flat_map(|kind| [real(kind), ideal(kind)]) {
        for (pressure, temperature) in [(1e5, 290.0), (7e5, 250.0), (60e5, 310.0), (300e5, 220.0)] {
            let known = gas.state_p_t(pressure, temperature).unwrap();
            for (denser, warmer) in [(2e-6, 0.0), (-2.5e-6, 2e-6), (1e-7, -2.5e-6)] {
                let density = known.density * (1.0 + denser);
                let energy = gas.state_rho_t(density, known.temperature * (1.0 + warmer)).unwrap().internal_energy;
                let near = gas.state_near(&known, density, energy).unwrap();
                let exact = gas.state_rho_u(density, energy, known.temperature).unwrap();
                close(near.pressure, exact.pressure, 1e-11);
                close(near.temperature, exact.temperature, 1e-11);
                let enthalpy = (near.enthalpy - exact.enthalpy) / (exact.cp * exact.temperature);
                let entropy = (near.entropy - exact.entropy) / exact.cp;
                assert!(enthalpy.abs() < 1e-11 && entropy.abs() < 1e-11, "{enthalpy} {entropy}");
                assert_eq!((near.density, near.internal_energy), (density, energy));
            }
            let far = gas.state_rho_t(known.density * (1.0 + 1e-5), known.temperature).unwrap();
            assert!(gas.state_near(&known, far.density, far.internal_energy).is_none());
        }
    }
}
