//! What happens during a run.

/// Something that happened at a time.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Time, s.
    pub time: f64,
    /// Name of the item; empty for a mark of the duty.
    pub item: String,
    /// What happened.
    pub code: EventCode,
    /// One sentence for people.
    pub text: String,
}

/// What can happen in a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum EventCode {
    /// A valve begins to open.
    ValveOpening,
    /// A valve is fully open.
    ValveOpen,
    /// A valve begins to close.
    ValveClosing,
    /// A valve is shut.
    ValveClosed,
    /// A valve has reached the share that it was ordered to.
    ValveSet,
    /// A valve no longer follows its orders.
    ValveStuck,
    /// A condition that moves a valve is met.
    ConditionMet,
    /// The level of a tank falls to where gas breaks through at its outlet.
    GasBreakthrough,
    /// A tank has no water left that can be used.
    TankEmpty,
    /// A gas valve passes from choked to subsonic flow.
    ChokingEnds,
    /// A gas valve passes from subsonic to choked flow.
    ChokingBegins,
    /// A weir pipe's vent begins to admit air.
    VentOpens,
    /// A weir pipe's vent no longer admits air.
    VentCloses,
    /// Water reaches an item that was dry.
    WaterArrives,
    /// An item or a line that started dry is full.
    Filled,
    /// A moving column of water stops at once.
    ColumnStops,
    /// A line behind a tank that is out has run empty: gas comes to its other end. Of a weir pipe with a vent first its rise.
    LineEmpty,
    /// A panel reaches its required flux.
    PanelMet,
    /// A panel falls below its required flux.
    PanelShort,
    /// The plume enters a panel.
    PlumeEnters,
    /// A tank's relief valve opens.
    ReliefOpens,
    /// A tank's relief valve closes.
    ReliefCloses,
    /// The requirement begins to apply.
    Ignition,
    /// The requirement no longer applies.
    HoldEnds,
    /// The run ends.
    End,
}

impl EventCode {
    /// All codes.
    pub const ALL: [EventCode; 25] = [
        EventCode::ValveOpening,
        EventCode::ValveOpen,
        EventCode::ValveClosing,
        EventCode::ValveClosed,
        EventCode::ValveSet,
        EventCode::ValveStuck,
        EventCode::ConditionMet,
        EventCode::GasBreakthrough,
        EventCode::TankEmpty,
        EventCode::ChokingEnds,
        EventCode::ChokingBegins,
        EventCode::VentOpens,
        EventCode::VentCloses,
        EventCode::WaterArrives,
        EventCode::Filled,
        EventCode::ColumnStops,
        EventCode::LineEmpty,
        EventCode::PanelMet,
        EventCode::PanelShort,
        EventCode::PlumeEnters,
        EventCode::ReliefOpens,
        EventCode::ReliefCloses,
        EventCode::Ignition,
        EventCode::HoldEnds,
        EventCode::End,
    ];

    /// The code's name in results.
    pub fn label(self) -> &'static str {
        match self {
            EventCode::ValveOpening => "valve_opening",
            EventCode::ValveOpen => "valve_open",
            EventCode::ValveClosing => "valve_closing",
            EventCode::ValveClosed => "valve_closed",
            EventCode::ValveSet => "valve_set",
            EventCode::ValveStuck => "valve_stuck",
            EventCode::ConditionMet => "condition_met",
            EventCode::GasBreakthrough => "gas_breakthrough",
            EventCode::TankEmpty => "tank_empty",
            EventCode::ChokingEnds => "choking_ends",
            EventCode::ChokingBegins => "choking_begins",
            EventCode::VentOpens => "vent_opens",
            EventCode::VentCloses => "vent_closes",
            EventCode::WaterArrives => "water_arrives",
            EventCode::Filled => "filled",
            EventCode::ColumnStops => "column_stops",
            EventCode::LineEmpty => "line_empty",
            EventCode::PanelMet => "panel_met",
            EventCode::PanelShort => "panel_short",
            EventCode::PlumeEnters => "plume_enters",
            EventCode::ReliefOpens => "relief_opens",
            EventCode::ReliefCloses => "relief_closes",
            EventCode::Ignition => "ignition",
            EventCode::HoldEnds => "hold_ends",
            EventCode::End => "end",
        }
    }
}
