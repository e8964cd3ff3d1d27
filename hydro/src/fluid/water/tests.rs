use super::*;

/// Equal to the nine printed digits: half a unit of the last is at most 5e-9.
fn printed(value: f64, published: f64) {
    assert!((value / published - 1.0).abs() < 5.5e-9, "{value} against {published}");
}

/// Source: IAPWS R7-97(2012), table 5 (region 1). Nine digits are printed.
#[test]
fn liquid_as_in_table_5() {
    for (t, p, volume, h, heat, w) in [
        (300.0, 3e6, 0.100215168e-2, 115.331273, 4.17301218, 1507.73921),
        (300.0, 80e6, 0.971180894e-3, 184.142828, 4.01008987, 1634.69054),
        (500.0, 3e6, 0.120241800e-2, 975.542239, 4.65580682, 1240.71337),
    ] {
        let water = Water::at(t, p).unwrap();
        printed(1.0 / water.density, volume);
        printed(water.enthalpy, h * 1e3);
        printed(water.cp, heat * 1e3);
        printed(water.speed_of_sound, w);
    }
}

/// Source: IAPWS R7-97(2012), tables 35 and 36 (saturation). Nine digits are printed.
#[test]
fn saturation_as_in_tables_35_and_36() {
    for (t, p) in [(300.0, 0.353658941e-2), (500.0, 2.63889776), (600.0, 12.3443146)] {
        printed(vapour_pressure(t).unwrap(), p * 1e6);
    }
    for (p, t) in [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)] {
        printed(saturation_temperature(p * 1e6).unwrap(), t);
    }
}

/// Source: IAPWS R12-08, table 4: 889.735100 uPa s at 298.15 K and 998 kg/m3, the one entry that liquid water has below
/// 100 MPa. The pressure of that density is found by bisection; 1e-7 is some digits above its rounding.
#[test]
fn viscosity_as_in_iapws_2008() {
    let (t, rho, published) = (298.15, 998.0, 889.735100e-6);
    let (mut low, mut high) = (vapour_pressure(t).unwrap(), HIGHEST_PRESSURE);
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if density(t, middle).unwrap() < rho {
            low = middle;
        } else {
            high = middle;
        }
    }
    let value = viscosity(t, low).unwrap();
    assert!((value / published - 1.0).abs() < 1e-7, "{value} against {published}");
}

/// Source: CoolProp 8.0.0 (IAPWS-95; R12-08): density at 101325 Pa, viscosity and sound on the saturation line.
/// Tolerances: the printed digits, and what IF97 states against IAPWS-95 (density 0.003 %; sound 0.2 %, reached at
/// 60 degC); the surface tension there is another fit than R1-76(2014), up to 0.1 % apart.
#[test]
fn working_table() {
    for (celsius, rho, mu, pressure, sigma, sound) in [
        (4.0, 999.9749, 1.567449e-3, 813.5, 0.07515, 1421.47),
        (10.0, 999.7025, 1.305990e-3, 1228.2, 0.07429, 1447.11),
        (20.0, 998.2072, 1.001627e-3, 2339.3, 0.07282, 1482.18),
        (30.0, 995.6495, 7.972238e-4, 4247.0, 0.07128, 1508.99),
        (60.0, 983.1958, 4.660155e-4, 19946.4, 0.06631, 1550.82),
        (80.0, 971.7904, 3.540362e-4, 47414.5, 0.06272, 1554.32),
    ] {
        let t = celsius + 273.15;
        let saturation = vapour_pressure(t).unwrap();
        assert!((density(t, 101_325.0).unwrap() / rho - 1.0).abs() < 3e-5);
        assert!((viscosity(t, saturation).unwrap() / mu - 1.0).abs() < 3e-5);
        assert!((saturation / pressure - 1.0).abs() < 2e-4);
        assert!((surface_tension(t).unwrap() / sigma - 1.0).abs() < 1.5e-3);
        assert!((speed_of_sound(t, saturation).unwrap() / sound - 1.0).abs() < 2e-3);
    }
    // bulk modulus at 20 degC and one atmosphere, 2.19341 GPa, same source
    let water = Water::at(293.15, 101_325.0).unwrap();
    assert!((water.bulk_modulus() / 2.19341e9 - 1.0).abs() < 2e-3);
}

/// Latent heat against Clausius-Clapeyron, `dp/dT = h_fg/(T dv)`: the vapour pressure equation and the two regions
/// are separate fits, which agree to 1e-4 (the step of the difference adds 1e-7).
#[test]
fn latent_heat_fits_the_vapour_pressure() {
    for t in [280.0, 300.0, 373.15, 450.0, 550.0, 600.0] {
        let slope = (vapour_pressure(t + 0.01).unwrap() - vapour_pressure(t - 0.01).unwrap()) / 0.02;
        let s = Saturation::at_temperature(t).unwrap();
        let expected = slope * t * (1.0 / s.vapour_density - 1.0 / s.liquid_density);
        assert!((s.latent_heat() / expected - 1.0).abs() < 3e-4, "{t}: {} {expected}", s.latent_heat());
    }
    // 2256.5 kJ/kg at 100 degC: IAPWS-95 (from memory)
    let boiling = Saturation::at_pressure(101_418.0).unwrap();
    assert!((boiling.latent_heat() - 2256.5e3).abs() < 0.3e3);
}

#[test]
fn ends_of_the_range_are_in_it() {
    let (low, high) = TEMPERATURE_RANGE;
    for t in [low, high] {
        let p = vapour_pressure(t).unwrap();
        Water::at(t, p).unwrap();
        Water::at(t, HIGHEST_PRESSURE).unwrap();
        Saturation::at_temperature(t).unwrap();
    }
    for p in [SATURATION_PRESSURE_RANGE.0, SATURATION_PRESSURE_RANGE.1] {
        Saturation::at_pressure(p).unwrap();
    }
}

#[test]
fn outside_the_range_is_an_error() {
    for t in [273.14, 623.16, f64::NAN, f64::INFINITY, -1.0, 0.0] {
        assert!(matches!(Water::at(t, 1e6), Err(WaterError::Temperature { .. })));
        assert!(Saturation::at_temperature(t).is_err() && surface_tension(t).is_err());
    }
    for p in [0.0, -1.0, 100.1e6, f64::NAN, f64::INFINITY] {
        assert!(matches!(Water::at(293.15, p), Err(WaterError::Pressure { .. })));
        assert!(matches!(saturation_temperature(p), Err(WaterError::SaturationPressure { .. })));
    }
    let error = Water::at(400.0, 101_325.0).unwrap_err();
    assert!(matches!(error, WaterError::Steam { .. }));
    assert!(error.to_string().contains("is steam: its vapour pressure is 245"), "{error}");
}
