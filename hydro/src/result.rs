//! Results: SI numbers and names, no serialisation and no physics.
