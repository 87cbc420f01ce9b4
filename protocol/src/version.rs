//! The version of the wire.
//!
//! The major number is the first byte of every frame, so that both ends can refuse the other by name whatever else
//! changes. The minor number travels in the identity. Within one major version message kinds, event kinds and codes
//! may be added (an older reader skips and counts them), but no field is ever added to, removed from or moved in a
//! message that exists.

/// Major version: first byte of every frame. A frame with another one is refused.
pub const MAJOR: u8 = 1;

/// Minor version: rises when a message kind, an event kind or a code is added.
pub const MINOR: u8 = 1;
