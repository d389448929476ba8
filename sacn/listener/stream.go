package listener

import (
	"math"
	"math/bits"
	"time"

	"yardproof/sacn"
)

// moment is a time as what has passed since the tracker's first packet: it is
// compared and subtracted several times for each packet.
type moment = time.Duration

// stream is what one source does on one universe.
type stream struct {
	source   *source
	universe uint16

	seq       sequence
	priority  uint8
	options   sacn.Options
	sync      uint16
	family    family // that is listened to
	ended     bool   // by Stream_Terminated
	gone      bool   // its source sends from another address now
	resumes   bool   // this host was deaf: the next packet begins the count anew
	rough     bool   // advanced was stamped in user space across a step of the clock
	outages   uint32
	lastEpoch uint32 // interval between polls of the socket's drops in which epochLost was counted
	epochLost uint32

	packets, lost, late, duplicates, restarts uint64
	others                                    uint64 // packets whose START code is not 0
	otherCode                                 uint8  // of the newest of them
	lostLocal                                 uint64

	left     moment        // if gone: since when
	first    moment        // arrival of the first packet
	heard    moment        // arrival of the latest packet
	advanced moment        // arrival of the packet with the newest number
	longest  time.Duration // between two packets
	outage   time.Duration // sum of silences over DataLossTimeout, finished ones
	deaf     time.Duration // time in which this host could not hear
	dead     time.Duration // time after a termination until the stream began again

	periods uint32  // samples in period, up to maxPeriods
	period  float64 // smoothed nanoseconds from one number to the next
	jitter  float64 // nanoseconds

	second      moment // begin of the interval that rate is being counted over
	secondCount uint32
	rate        float64 // packets a second over the last finished interval
}

// maxPeriods is the memory of the period estimate, in packets: long against
// jitter, short against a change of the rate.
const maxPeriods = 32

// live reports whether receivers follow the stream at a time: not terminated,
// and heard within E131_NETWORK_DATA_LOSS_TIMEOUT (6.7.1).
func (s *stream) live(now moment) bool {
	return !s.ended && s.packets > 0 && now-s.heard <= sacn.DataLossTimeout
}

// packet counts a data packet. It reports whether the stream begins to be live
// with it, or changes what it competes with.
func (s *stream) packet(d *sacn.Data, now moment, rough bool) (changed bool) {
	const standing = sacn.Preview
	terminated := d.Options&sacn.StreamTerminated != 0
	if d.StartCode != 0 {
		s.others++
		s.otherCode = d.StartCode
	}
	silence := now - s.heard
	switch {
	case s.packets == 0:
		s.first, s.second = now, now
		s.begin(d, now, rough)
		changed = true
	case s.ended && !terminated && (silence > sacn.DataLossTimeout || sacn.AcceptSequence(s.seq.last, d.Sequence)):
		// A number that is a little behind may be a packet overtaken by the
		// termination; after the timeout (6.7.1) it cannot be.
		s.dead += silence
		s.begin(d, now, rough)
		changed = true
	case s.resumes && !s.ended && silence <= sacn.DataLossTimeout:
		s.begin(d, now, rough)
	case !s.ended && silence > sacn.DataLossTimeout:
		// A count modulo 256 says nothing about so long a silence: seconds do.
		s.outages++
		s.outage += silence
		s.longest = max(s.longest, silence)
		s.begin(d, now, rough)
		changed = true
	default:
		if !s.ended {
			s.longest = max(s.longest, silence)
		}
		if !s.follow(d, now, rough) {
			s.arrived(now) // overtaken: it counts, but says nothing about now
			return false
		}
	}
	if d.Priority != s.priority || (d.Options^s.options)&standing != 0 {
		changed = true
	}
	s.priority, s.options, s.sync = d.Priority, d.Options, d.SyncAddress
	s.ended = terminated
	s.arrived(now)
	return changed
}

// begin starts the count anew: nothing is known of the time before.
func (s *stream) begin(d *sacn.Data, now moment, rough bool) {
	s.seq.start(d.Sequence)
	s.advanced, s.rough = now, rough
	s.periods = 0
	s.resumes = false
}

// follow places a packet in the running count, and reports whether it is the
// newest of its stream.
func (s *stream) follow(d *sacn.Data, now moment, rough bool) bool {
	if n := s.steps(d.Sequence, now-s.advanced); n > 0 && !s.rough && !rough {
		s.lost += uint64(n - 1)
		s.epochLost += uint32(n - 1)
		s.begin(d, now, rough)
		return true
	}
	v, step, missing := s.seq.next(d.Sequence)
	s.lost = uint64(int64(s.lost) + int64(missing))
	switch v {
	case late:
		s.late++
		if missing < 0 && s.epochLost > 0 {
			s.epochLost--
		}
		return false
	case duplicate:
		s.duplicates++
		return false
	case restarted:
		s.restarts++
		s.begin(d, now, rough)
		return true
	}
	s.epochLost += uint32(missing)
	if d.Options&sacn.StreamTerminated == 0 && !s.rough && !rough {
		s.timing(now-s.advanced, step)
	}
	s.advanced, s.rough = now, rough
	return true
}

// steps returns by how many numbers a packet is newer, where its number alone
// cannot tell: after a gap of more periods than half the count goes round in. The
// time says how often it went round. 0: the number can tell. At 40 Hz this
// never happens, since 2.5 s are an outage.
func (s *stream) steps(n uint8, gap time.Duration) int {
	const least = 100 // periods are not exact: begin well before half of 256
	if s.periods < maxPeriods || s.period < float64(time.Millisecond)*0.9 || s.jitter > s.period/4 {
		return 0 // not a steady stream
	}
	periods := float64(gap) / s.period
	if periods < least {
		return 0
	}
	step := int(n - s.seq.last)
	return step + 256*int(math.Round((periods-float64(step))/256))
}

// timing takes how long after the last packet one arrived that is step numbers
// newer. E1.31 carries no sender time, so the transit difference D of RFC 3550
// section 6.4.1 is here the deviation from step periods; the smoothing by 1/16
// is that section's.
func (s *stream) timing(interval time.Duration, step int) {
	if s.periods > 0 {
		d := math.Abs(float64(interval) - float64(step)*s.period)
		s.jitter += (d - s.jitter) / 16
	}
	s.periods = min(s.periods+1, maxPeriods)
	s.period += (float64(interval)/float64(step) - s.period) / float64(s.periods)
}

// arrived counts any packet of the stream.
func (s *stream) arrived(now moment) {
	s.packets++
	s.heard = now
	s.secondCount++
	if d := now - s.second; d >= time.Second {
		s.rate = float64(s.secondCount) / d.Seconds()
		s.second, s.secondCount = now, 0
	}
}

// Stream is what was measured of one source on one universe.
type Stream struct {
	Universe    uint16
	Priority    uint8  // 0-200; above 200 the source breaks 6.2.3
	Packets     uint64 // data packets received, duplicates included
	Lost        uint64 // numbers skipped and not come since; falls when one comes late
	LostForGood uint64 // of Lost: too far behind to come late; never falls, as a counter must not
	LostLocal   uint64 // of Lost: noticed while this host's own socket dropped packets
	OutOfOrder  uint64 // packets overtaken by a newer one
	Duplicates  uint64
	Others      uint64        // of Packets: their START code is not 0, so they carry no levels
	OtherCode   uint8         // START code of the newest of these
	Restarts    uint64        // the count went back by 20 or more: the source began anew (6.7.2)
	Outages     uint32        // silences longer than 2.5 s, a present one included
	Outage      time.Duration // their sum
	LongestGap  time.Duration // between two packets, or until now in an outage
	Jitter      time.Duration // smoothed deviation from the period, RFC 3550 section 6.4.1
	Rate        float64       // packets a second over the last second or so; 0 when not live
	MeanRate    float64       // packets a second, outages left out
	Preview     bool          // Preview_Data (6.2.6)
	Terminated  bool          // ended by Stream_Terminated (6.2.6)
	Live        bool          // heard within 2.5 s and not terminated
	SyncAddress uint16        // 0: not synchronized
	Synced      bool          // synchronization packets for SyncAddress came within 2.5 s
	Last        time.Time
}

// LossPercent is the share of the packets sent that never came, in percent.
func (s *Stream) LossPercent() float64 {
	sent := s.Packets - s.Duplicates + s.Lost
	if sent == 0 {
		return 0
	}
	return 100 * float64(s.Lost) / float64(sent)
}

// snapshot tells a stream together with what the same source sent before from
// other addresses.
func (s *stream) snapshot(before []*stream, now moment, base time.Time) Stream {
	out := Stream{
		Universe: s.universe, Priority: s.priority, OtherCode: s.otherCode, Jitter: time.Duration(s.jitter),
		Preview: s.options&sacn.Preview != 0, Terminated: s.ended, Live: s.live(now),
		SyncAddress: s.sync, Last: base.Add(s.heard),
	}
	active := s.addTo(&out)
	for _, b := range before {
		active += b.addTo(&out)
	}
	if active > 0 {
		out.MeanRate = float64(out.Packets-1-uint64(len(before))) / active.Seconds()
	}
	if silence := now - s.heard; out.Live {
		out.Rate = s.rate
		if d := now - s.second; s.rate == 0 && d > 0 || d > 2*time.Second {
			out.Rate = float64(s.secondCount) / d.Seconds()
		}
	} else if !s.ended {
		out.Outages++
		out.Outage += silence
		out.LongestGap = max(out.LongestGap, silence)
	}
	return out
}

// addTo adds a stream's counts, and returns for how long it was sent.
func (s *stream) addTo(out *Stream) (active time.Duration) {
	out.Packets += s.packets
	out.Lost += s.lost
	out.LostForGood += s.lost - uint64(bits.OnesCount32(s.seq.missing))
	out.LostLocal += min(s.lostLocal, s.lost)
	out.OutOfOrder += s.late
	out.Duplicates += s.duplicates
	out.Others += s.others
	out.Restarts += s.restarts
	out.Outages += s.outages
	out.Outage += s.outage
	out.LongestGap = max(out.LongestGap, s.longest)
	return s.heard - s.first - s.outage - s.dead - s.deaf
}
