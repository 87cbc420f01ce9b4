//! The end of serving: asked for from anywhere, heard by every connection and stream.

use tokio::sync::watch;

/// Ends the server. Copies end the same one.
#[derive(Debug, Clone)]
pub struct Stop(watch::Sender<bool>);

impl Default for Stop {
    fn default() -> Self {
        Self(watch::Sender::new(false))
    }
}

impl Stop {
    /// Asks for the end; any thread may.
    pub fn ask(&self) {
        self.0.send_replace(true);
    }

    /// Whether the end was asked for.
    pub fn asked(&self) -> bool {
        *self.0.borrow()
    }

    /// Waits until the end is asked for.
    pub async fn heard(&self) {
        // The sender lives as long as `self`: waiting cannot fail.
        let _ = self.0.subscribe().wait_for(|asked| *asked).await;
    }
}
