package listener

import "yardproof/sacn"

// window is how many sequence numbers, the newest included, a stream remembers:
// the range in which clause 6.7.2 calls a packet late and not a restart.
const window = 20

// verdict is what a sequence number says of its packet.
type verdict uint8

const (
	ahead     verdict = iota // newer than everything before; numbers in between are missing
	late                     // overtaken by a newer one
	duplicate                // received before
	restarted                // so far behind that the source must have begun anew
)

// sequence follows one count modulo 256. A number that is skipped is missing
// until it arrives late, so the count of missing ones is exact for any disorder
// within the window. It starts with start.
type sequence struct {
	last uint8
	// Bit i stands for the number last-i: received, or skipped and counted as
	// missing. Neither is set for numbers from before the start.
	received, missing uint32
}

func (q *sequence) start(n uint8) {
	*q = sequence{last: n, received: 1}
}

// next takes a packet's number and returns what it says, by how many numbers it
// went ahead, and by how much the count of missing packets changes: up for a
// gap, down by one for a late packet that had been counted.
func (q *sequence) next(n uint8) (v verdict, step, missing int) {
	step = sacn.SequenceDelta(q.last, n)
	switch {
	case step > 0:
		q.last = n
		q.received = q.received<<step | 1
		q.missing = (q.missing<<step | (1<<step - 2)) & (1<<window - 1)
		return ahead, step, step - 1
	case step <= -window:
		q.start(n)
		return restarted, step, 0
	}
	bit := uint32(1) << -step
	if q.received&bit != 0 {
		return duplicate, step, 0
	}
	q.received |= bit
	if q.missing&bit != 0 {
		q.missing &^= bit
		return late, step, -1
	}
	return late, step, 0
}
