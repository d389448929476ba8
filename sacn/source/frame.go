package source

import (
	"context"
	"errors"
	"net"
	"os"
	"syscall"
	"time"

	"yardproof/sacn"
)

// terminationFrames is how many dark frames and how many terminated ones end a stream:
// 6.2.6 asks for three packets with Stream_Terminated.
const terminationFrames = 3

// phase is where a source is in its life. Each phase but the first lasts for
// termination frames.
type phase int

const (
	live phase = iota
	darkening
	terminating
	over
)

// send is the frame clock. The next frame is rendered as soon as the present
// one has left, so that at the deadline there is nothing to do but to send.
func (s *Source) send(ctx context.Context) {
	f := Frame{Deadline: time.Now().Add(s.period)}
	s.discover = f.Deadline
	ph, frames := live, 0
	skipped := false
	for ph != over {
		if ph == live && ctx.Err() != nil {
			ph, frames = darkening, 0
		}
		s.fill(ph, f)
		s.env.sleepUntil(f.Deadline)
		if ph == live && ctx.Err() != nil {
			continue
		}
		now := time.Now()
		s.stats.tick(now)
		// A frame that is late by a period is given up, and so are those after it
		// until a deadline lies ahead: light that comes in a burst is worse than
		// light that is missing. What is sent then is rendered anew, but once: a
		// renderer slower than the clock must not stop the light altogether.
		if late := now.Sub(f.Deadline); late >= s.period && !skipped {
			n := late/s.period + 1
			s.stats.skipped.Add(uint64(n))
			f = Frame{f.Number + uint64(n), f.Deadline.Add(n * s.period)}
			skipped = true
			continue
		}
		skipped = false
		s.frame(ph, f, now)
		f = Frame{f.Number + 1, f.Deadline.Add(s.period)}
		if frames++; ph != live && frames == terminationFrames {
			ph, frames = ph+1, 0
		}
	}
}

// fill prepares the packets of the frame that comes next.
func (s *Source) fill(ph phase, f Frame) {
	switch ph {
	case live:
		s.adopt()
		s.show.scene.Render(f, s.show.slots)
	case darkening:
		s.show.dark()
	case terminating:
		for _, p := range s.show.packets {
			p.Terminate()
		}
	}
}

// adopt takes over a scene that was handed to Replace.
func (s *Source) adopt() {
	next := s.pending.Swap(nil)
	if next == nil {
		return
	}
	last := s.show
	s.leaving = append(s.leaving, last.without(next))
	s.show = next
	next.begin()
	s.stats.streams.Store(int64(len(next.packets)))
	s.stats.groups.Store(int64(next.groups))
}

// frame sends one frame: its data in slices spread over the period, then the
// synchronization packet, then, when it is time, universe discovery.
func (s *Source) frame(ph phase, f Frame, woke time.Time) {
	if Link(s.stats.link.Load()) != LinkUp {
		s.stats.withheld.Add(1)
		return
	}
	s.slices = append(s.slices[:0], s.show.slices...)
	if s.crowded { // the queue is fullest at the end of a frame: another slice's turn
		k := int(f.Number % uint64(len(s.slices)))
		s.slices = append(append(s.slices[:0], s.show.slices[k:]...), s.show.slices[:k]...)
	}
	s.data, s.failed, s.patient = 0, false, true
	for _, l := range s.leaving {
		s.slices = append(s.slices, l.slices...)
	}
	gap := time.Duration(float64(s.period) * s.cfg.Spread / float64(len(s.slices)))
	if sync := s.show.sync; sync != nil && ph != terminating {
		setSync(sync, s.cfg, s.seq)
		s.slices = append(s.slices, sync) // a gap later: receivers need time between data and this (6.3.3.1)
	}

	before := s.stats.packets.Load()
	due, next := f.Deadline, f.Deadline.Add(s.period)
	var busy time.Duration
	for k, pt := range s.slices {
		if k > 0 && gap > 0 {
			due = due.Add(gap)
			s.env.sleepUntil(due)
			woke = time.Now()
		}
		if rest := len(s.slices) - k; woke.Sub(due) > gap {
			// Late: what is left is spread over what is left of the period.
			due = woke
			gap = min(gap, max(0, next.Sub(woke)/time.Duration(rest)))
		}
		if k == 0 {
			s.stats.lateness.observe(woke.Sub(f.Deadline))
		}
		s.sendSlice(pt, ph)
		done := time.Now()
		busy += done.Sub(woke)
		woke = done
	}
	if ph == live && !f.Deadline.Before(s.discover) {
		s.sendSlice(s.show.discovery, ph)
		for !f.Deadline.Before(s.discover) {
			s.discover = s.discover.Add(sacn.DiscoveryInterval)
		}
	}

	s.stats.sendTime.observe(busy)
	s.stats.sequence.Store(uint32(s.seq))
	s.crowded = s.failed
	if s.data > 0 || ph != live && s.stats.packets.Load() > before {
		s.stats.frames.Add(1)
		s.begin.Do(func() { close(s.started) })
	} else {
		s.stats.withheld.Add(1) // a frame that nobody could see was not sent: burn-in hours count on it
	}
	s.seq++
	s.depart()
}

// depart ends the goodbye of replaced scenes.
func (s *Source) depart() {
	stay := s.leaving[:0]
	for _, l := range s.leaving {
		if l.frames--; l.frames > 0 && l.slices != nil {
			if l.frames == terminationFrames {
				l.terminate()
			}
			stay = append(stay, l)
			continue
		}
		if l.slices != nil {
			s.ended(l.show)
		}
		s.routes.release(l.show.held)
	}
	clear(s.leaving[len(stay):])
	s.leaving = stay
}

// setSync writes the sequence number. 6.3.2 asks for a count of its own for each
// synchronization address: one packet a frame, as with every universe, so that
// all counts of a source move together.
func setSync(pt *slice, cfg Config, seq uint8) {
	p := sacn.Sync{CID: cfg.CID, Address: cfg.SyncAddress, Sequence: seq}
	p.AppendTo(pt.batches[0].frames[0][:headroom]) // in place; the address was checked when the packet was made
}

// ended counts the streams of a show that have ended, and whose receivers were not told.
func (s *Source) ended(sh *show) {
	for _, p := range sh.packets {
		if c := p.count; (sh == s.show || !c.present.Load()) && c.sent.Load() > 0 && c.terminated.Load() == 0 {
			s.stats.unterminated.Add(1)
		}
	}
}

func (s *Source) sendSlice(pt *slice, ph phase) {
	ph = max(ph, pt.phase)
	begin, cut, failed := pt.first, -1, s.failed
	for i := range pt.batches {
		k := (begin + i) % len(pt.batches)
		r := &pt.batches[k]
		for _, t := range r.packets {
			t.SetSequence(s.seq)
		}
		// Where a full queue cut the last frame short, this one begins: all
		// universes lose alike.
		first := r.first
		r.first, s.failed = 0, false
		s.sendBatch(r, first, len(r.frames), ph)
		if first > 0 {
			s.sendBatch(r, 0, first, ph)
		}
		if s.failed && cut < 0 {
			cut = k
		}
		failed = failed || s.failed
	}
	s.failed = failed
	switch cut {
	case -1:
	case begin: // nothing before it can have filled the queue: it has had its turn
		pt.first = (begin + 1) % len(pt.batches)
	default:
		pt.first = cut
	}
}

// sendBatch sends packets [from, to) of a batch. A packet that fails is counted
// and stepped over, so that it costs its own universe and no other.
func (s *Source) sendBatch(r *batch, from, to int, ph phase) {
	sock, fault := r.route.socket()
	if sock == nil {
		if fault != 0 {
			s.fail(r, fault, from, to, ph)
		}
		return
	}
	r.ready(sock)
	// A connected socket reports what became of an earlier packet, and has not
	// sent this one: it gets a second try. If that succeeds, the controller was
	// not there for the last frame, and hardly is for this one.
	again, refused := r.route.unicast.IsValid(), syscall.Errno(0)
	for done := from; done < to; {
		n, err := r.msgs.send(done, to, s.patient)
		if err == nil && n > 0 {
			s.stats.sent(r, done, done+n)
			if refused != 0 {
				s.stats.fail(refused, 1, &r.route.unicast)
			}
			s.count(r, done, done+n, ph, refused == 0)
			done += n
			again, refused = r.route.unicast.IsValid(), 0
			continue
		}
		if errors.Is(err, net.ErrClosed) {
			if sock, _ = r.route.socket(); sock == nil {
				return // the interface has gone
			}
			r.ready(sock)
			continue // it is back, with another socket
		}
		if errors.Is(err, os.ErrDeadlineExceeded) {
			// The queue stays full: give the rest of this batch up, or the frame
			// would never finish. One batch a frame may wait.
			s.patient = false
			s.fail(r, syscall.EAGAIN, done, to, ph)
			return
		}
		var errno syscall.Errno
		errors.As(err, &errno)
		if again {
			again, refused = false, errno
			continue
		}
		refused = 0
		s.fail(r, errno, done, done+1, ph)
		done++
	}
}

// count counts packets [from, to) of a batch, which the kernel took, for their
// streams: as sent, or as refused by the other end. What says goodbye counts for
// none: nobody is served by it.
func (s *Source) count(r *batch, from, to int, ph phase, good bool) {
	if r.counts == nil {
		return
	}
	for _, c := range r.counts[from:to] {
		switch {
		case ph == live && good:
			c.sent.Add(1)
		case ph == live:
			c.failed.Add(1)
		case ph == terminating && good:
			c.terminated.Add(1)
		}
	}
	if ph == live && good {
		s.data += uint64(to - from)
	}
}

// fail counts packets [from, to) of a batch that the kernel did not take.
func (s *Source) fail(r *batch, errno syscall.Errno, from, to int, ph phase) {
	s.stats.fail(errno, to-from, &r.route.unicast)
	if r.counts == nil {
		return
	}
	if r.first == 0 {
		r.first = from
	}
	s.failed = true
	if ph == live {
		for _, c := range r.counts[from:to] {
			c.failed.Add(1)
		}
	}
}
