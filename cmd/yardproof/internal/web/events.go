package web

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"net/http"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/session"
)

// Pace of the event stream.
const (
	frameEvery = 70 * time.Millisecond  // some 14 pictures a second: smooth enough to judge a pattern by, light enough for a bad link
	stateEvery = 2 * time.Second        // even when nothing changes, so that a phone knows that it still hears us
	levelEvery = 250 * time.Millisecond // while a level rises
	askEvery   = 250 * time.Millisecond // the directory, whether a phone is still let in
	newFor     = time.Second            // for so long all pages have all pictures of what is newly shown
	maxStreams = 64
	fullRate   = 16 // pages that have all pictures; more of them share as many, for the sake of the frames
)

// getEvents streams what is shown as server-sent events: "state" whenever it
// changes, "frame" with the slots of one string as they were last sent. Each
// client has a loop of its own that looks at the newest value, writes it, and
// then looks again: a slow client misses pictures and holds nobody up.
func (s *Server) getEvents(w http.ResponseWriter, r *http.Request) error {
	if r.Method == http.MethodHead {
		w.Header().Set("Content-Type", "text/event-stream")
		return nil
	}
	if s.streams.Add(1) > maxStreams {
		s.streams.Add(-1)
		return problemf(http.StatusServiceUnavailable, "There are %d pages open already; close one.", maxStreams)
	}
	s.phonesChanged()
	defer func() { s.streams.Add(-1); s.phonesChanged() }()

	st := stream{w: w, rc: http.NewResponseController(w)}
	st.rc.SetReadDeadline(time.Time{}) // the client says no more; the next write shows whether it is there
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	w.WriteHeader(http.StatusOK)

	// Pages that come back together, as after a restart, do not draw together ever after.
	next := time.NewTimer(rand.N(frameEvery))
	defer next.Stop()
	wanted := r.URL.Query().Get("string")
	for {
		now := s.cfg.Session.Snapshot()
		if err := st.state(s, now, wanted); err != nil {
			return gone(err)
		}
		if err := st.frame(s, now.Shown, wanted); err != nil {
			return gone(err)
		}
		select {
		case <-r.Context().Done():
			return nil
		case <-next.C:
			next.Reset(frameEvery)
			if _, known := s.phone(r); !known && !s.cfg.Loopback {
				return nil
			}
		}
	}
}

func (s *Server) phonesChanged() { s.cfg.Session.Phones(int(s.streams.Load())) }

// A stream is one client's, with what it was told last.
type stream struct {
	w  http.ResponseWriter
	rc *http.ResponseController

	told     time.Time
	recorded int
	others   []competitor
	change   uint64
	level    float64
	name     string
	slots    []byte
	previous []byte
	drawn    time.Time
	out      bytes.Buffer
}

func (st *stream) state(s *Server, now session.Snapshot, view string) error {
	since, show := time.Since(st.told), now.Shown
	if show.Change == st.change && since < stateEvery && (show.LevelNow == st.level || since < levelEvery) &&
		st.recorded == s.cfg.Record.Len() && (since < levelEvery || slices.Equal(st.others, s.competing(now.Plan, view))) {
		return nil
	}
	told := s.state(now, view)
	st.told, st.change, st.level, st.recorded, st.others = time.Now(), show.Change, show.LevelNow, told.Recorded, told.Others
	return st.event("state", told)
}

// frame tells the slots of one string: the one that was asked for, else the
// first that is lit.
func (st *stream) frame(s *Server, show session.Shown, name string) error {
	if name == "" && len(show.Strings) > 0 {
		name = show.Strings[0]
	}
	every := frameEvery * time.Duration(s.streams.Load()) / fullRate
	if every > frameEvery && time.Since(show.Since) > newFor && time.Since(st.drawn) < every {
		return nil
	}
	var ok bool
	st.slots, ok = s.cfg.Session.Slots(st.slots[:0], name)
	if !ok || name == st.name && bytes.Equal(st.slots, st.previous) {
		return nil
	}
	st.name, st.drawn = name, time.Now()
	st.previous = append(st.previous[:0], st.slots...)
	return st.event("frame", struct {
		String string `json:"string"`
		Slots  []byte `json:"slots"` // as base64
	}{name, st.slots})
}

func (st *stream) event(name string, v any) error {
	st.out.Reset()
	st.out.WriteString("event: " + name + "\ndata: ")
	if err := json.NewEncoder(&st.out).Encode(v); err != nil { // one line, and its end
		return err
	}
	st.out.WriteByte('\n')
	st.rc.SetWriteDeadline(time.Now().Add(eventTimeout))
	if _, err := st.w.Write(st.out.Bytes()); err != nil {
		return err
	}
	return st.rc.Flush()
}
