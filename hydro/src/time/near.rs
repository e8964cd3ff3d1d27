//! Right-hand sides near the state of a Jacobian, for systems with unknowns of their own.

/// Which right-hand side near the state of the last Jacobian is asked for.
///
/// A system may find unknowns z of its own for every right-hand side, without a derivative of theirs:
///
/// ```text
/// dy/dt = f(t, y, z),    0 = g(t, y, z)
/// ```
///
/// Then it may find them for each as exactly as it does elsewhere, as if only `f(t, y, z(t, y))` were known, or take them through
/// the stages of a linearly implicit method as if they were components of the state, with one look at g a stage (Hairer and
/// Wanner, Solving ODEs II, 2nd ed., section VI.4). With R the answer of z to y and G = dg/dz at the start of the step,
///
/// ```text
/// Z_i = z + R (Y_i - y) + sum_j<i w_j r_j + later r_t    r_i = -G^-1 g(t_i, Y_i, Z_i)    r_t = -G^-1 dg/dt
/// ```
///
/// and f is asked for at `Z_i + r_i`, where f has to be linear in z.
#[derive(Debug, Clone, Copy)]
pub enum Near<'m> {
    /// The slope as it is, found in full or along the tangents of the Jacobian.
    Alone,
    /// The slope a little later, this long, at the state of the Jacobian: of z, `r_t` times that.
    Later(f64),
    /// That of a stage.
    Stage(Mix<'m>),
    /// That at the end of a step: the mix leads near its z.
    End(Mix<'m>),
}

/// How unknowns of a system's own follow from those of the stages before.
#[derive(Debug, Clone, Copy)]
pub struct Mix<'m> {
    /// Weights `w_j` of the stages before. The first has no `r_j`: it is the start of the step.
    pub weights: &'m [f64],
    /// Time by which the change with time at fixed state counts, in the unit of `t`.
    pub later: f64,
    /// Shares of `Z_i - z` in the second and third coefficient of z inside the step, in the form of
    /// [`DenseStep`](super::DenseStep); the first is its change over the step.
    pub inside: [f64; 2],
}
