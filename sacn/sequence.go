package sacn

import "time"

// Times of Appendix A and clause 6.6 (from memory, unchecked).
const (
	// DataLossTimeout is E131_NETWORK_DATA_LOSS_TIMEOUT: a source that has been
	// silent on a universe for this long is lost to the receiver (6.7.1).
	DataLossTimeout = 2500 * time.Millisecond

	// DiscoveryInterval is E131_UNIVERSE_DISCOVERY_INTERVAL (6.4, 12).
	DiscoveryInterval = 10 * time.Second
)

// SequenceDelta returns how far a sequence number has moved since the last accepted
// one: the difference as a signed 8-bit number, -128 to 127 (6.7.2).
func SequenceDelta(last, next uint8) int {
	return int(int8(next - last))
}

// AcceptSequence is the receiver's rule on sequence numbers (6.7.2): a packet that is
// the same as the last accepted one, or up to 19 behind it, is discarded; one
// that seems further behind is taken for a restarted source.
func AcceptSequence(last, next uint8) bool {
	d := SequenceDelta(last, next)
	return d > 0 || d <= -20
}
