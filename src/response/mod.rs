//! What a system does: from a recording to its impulse response, frequency response and distortion.
