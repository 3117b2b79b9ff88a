//! The simulated bench: a loudspeaker, a room, a microphone and an interface, in the time domain.
