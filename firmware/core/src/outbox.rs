//! Frames that wait for the transport: whole ones or none.

use crate::design::{DATA_ROOM, REPLY_ROOM};
use steadypass_protocol::{MAX_FRAME, ToHost, encode};

/// First-in, first-out store of frames in `N` bytes. A frame costs its length and two bytes.
#[derive(Clone, Debug)]
pub struct FrameQueue<const N: usize> {
    bytes: [u8; N],
    /// Where the oldest byte is.
    head: usize,
    /// Bytes in use.
    used: usize,
}

impl<const N: usize> FrameQueue<N> {
    /// An empty queue.
    pub const fn new() -> Self {
        Self { bytes: [0; N], head: 0, used: 0 }
    }

    /// Stores `frame`, or says `false` and stores nothing.
    pub fn push(&mut self, frame: &[u8]) -> bool {
        let Ok(len) = u16::try_from(frame.len()) else { return false };
        if self.used + 2 + frame.len() > N {
            return false;
        }
        self.put(&len.to_le_bytes());
        self.put(frame);
        true
    }

    /// Takes the oldest frame into `into` (at least [`MAX_FRAME`] long) and returns it.
    pub fn pop<'b>(&mut self, into: &'b mut [u8]) -> Option<&'b [u8]> {
        if self.used == 0 {
            return None;
        }
        let mut len = [0; 2];
        self.take(&mut len);
        let frame = into.get_mut(..usize::from(u16::from_le_bytes(len)))?;
        self.take(frame);
        Some(frame)
    }

    /// Throws everything away and says how many frames that were.
    pub fn clear(&mut self) -> u32 {
        let mut frames = 0;
        while self.pop(&mut [0; MAX_FRAME]).is_some() {
            frames += 1;
        }
        frames
    }

    /// Whether there is nothing to send.
    pub fn is_empty(&self) -> bool {
        self.used == 0
    }

    fn put(&mut self, from: &[u8]) {
        let at = (self.head + self.used) % N;
        let (first, second) = from.split_at(from.len().min(N - at));
        self.bytes[at..at + first.len()].copy_from_slice(first);
        self.bytes[..second.len()].copy_from_slice(second);
        self.used += from.len();
    }

    fn take(&mut self, into: &mut [u8]) {
        let len = into.len();
        let (first, second) = into.split_at_mut(len.min(N - self.head));
        first.copy_from_slice(&self.bytes[self.head..self.head + first.len()]);
        second.copy_from_slice(&self.bytes[..second.len()]);
        self.head = (self.head + len) % N;
        self.used -= len;
    }
}

impl<const N: usize> Default for FrameQueue<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// What waits for the host. Replies, marks and health reports have room of their own, which a stream that nobody reads
/// cannot fill, and go first.
#[derive(Clone, Debug, Default)]
pub struct Outbox {
    replies: FrameQueue<REPLY_ROOM>,
    data: FrameQueue<DATA_ROOM>,
    dropped: u32,
}

impl Outbox {
    /// An empty outbox.
    pub const fn new() -> Self {
        Self { replies: FrameQueue::new(), data: FrameQueue::new(), dropped: 0 }
    }

    /// Queues a message; when there is no room, it is dropped and counted.
    pub fn send(&mut self, message: &ToHost<'_>) {
        let mut buffer = [0; MAX_FRAME];
        let queued = match (encode(message, &mut buffer), message) {
            (Err(_), _) => false,
            (Ok(frame), ToHost::Accel(_) | ToHost::Gyro(_) | ToHost::Surface(_)) => self.data.push(frame),
            (Ok(frame), _) => self.replies.push(frame),
        };
        if !queued {
            self.dropped = self.dropped.saturating_add(1);
        }
    }

    /// The next frame for the transport.
    pub fn next<'b>(&mut self, into: &'b mut [u8; MAX_FRAME]) -> Option<&'b [u8]> {
        if self.replies.is_empty() { self.data.pop(into) } else { self.replies.pop(into) }
    }

    /// Throws away what waits: it is for a host that is gone. Counted as dropped.
    pub fn clear(&mut self) {
        let frames = self.replies.clear() + self.data.clear();
        self.dropped = self.dropped.saturating_add(frames);
    }

    /// Frames dropped since the sensor started.
    pub fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Whether there is nothing to send.
    pub fn is_empty(&self) -> bool {
        self.replies.is_empty() && self.data.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;
    use std::collections::VecDeque;
    use steadypass_protocol::{Mark, Surface};

    proptest! {
        /// Against a plain queue of vectors that knows its own limit.
        #[test]
        fn frames_come_out_whole_and_in_order(steps in vec((any::<bool>(), vec(any::<u8>(), 0..40)), 1..400)) {
            let mut queue: FrameQueue<100> = FrameQueue::new();
            let mut model: VecDeque<Vec<u8>> = VecDeque::new();
            for (push, frame) in steps {
                if push {
                    let fits = model.iter().map(|f| f.len() + 2).sum::<usize>() + frame.len() + 2 <= 100;
                    prop_assert_eq!(queue.push(&frame), fits);
                    if fits {
                        model.push_back(frame);
                    }
                } else {
                    let mut buffer = [0; MAX_FRAME];
                    prop_assert_eq!(queue.pop(&mut buffer).map(<[u8]>::to_vec), model.pop_front());
                }
                prop_assert_eq!(queue.is_empty(), model.is_empty());
            }
        }
    }

    const LOOK: ToHost = ToHost::Surface(Surface { index: 0, t_us: 1, object_raw: 2, ambient_raw: 3, flags: 0 });
    const MARK: ToHost = ToHost::Mark(Mark { t_us: 1, index: 1 });

    #[test]
    fn a_stream_that_nobody_reads_leaves_room_for_replies() {
        let mut outbox = Outbox::new();
        let mut sent = 0u32;
        while outbox.dropped() == 0 {
            outbox.send(&LOOK);
            sent += 1;
        }
        assert!(sent > 1000, "{sent}");
        outbox.send(&MARK);
        assert_eq!(outbox.dropped(), 1, "the mark has found room");
        let mut buffer = [0; MAX_FRAME];
        let mut expected = [0; MAX_FRAME];
        assert_eq!(outbox.next(&mut buffer), Some(encode(&MARK, &mut expected).expect("fits")), "and goes first");
        outbox.clear();
        assert!(outbox.is_empty());
        assert_eq!(outbox.dropped(), sent, "all looks but the last were thrown away unread, the last found no room");
    }
}
