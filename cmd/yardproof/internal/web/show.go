package web

import (
	"errors"
	"net/http"
	"time"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/patterns"
)

// usualLevel is the level of a pattern when nobody names one: enough to see
// colours by, too little to dazzle (common practice, no source).
const usualLevel = 0.3

// postShow puts something on the strings. A level above a cap is answered with
// the capped level, not refused.
func (s *Server) postShow(w http.ResponseWriter, r *http.Request, in struct {
	Pattern string   `json:"pattern"`
	Strings []string `json:"strings"`
	Level   *float64 `json:"level_percent"`
	Pixel   int      `json:"pixel"`
	Slot    int      `json:"slot"`
	Count   int      `json:"count"`
	First   int      `json:"first"`
	Last    int      `json:"last"`
	Hold    float64  `json:"hold_seconds"`
}) error {
	req := session.Request{
		Pattern: in.Pattern, Strings: in.Strings, Level: usualLevel, By: s.who(r), Phone: true,
		Options: patterns.Options{Pixel: in.Pixel, Slot: in.Slot, Count: in.Count, First: in.First, Last: in.Last},
	}
	if min(in.Pixel, in.Slot, in.Count, in.First, in.Last) < 0 {
		return problemf(http.StatusBadRequest, "pixel, slot, count, first and last begin at 1; leave out what does not matter.")
	}
	if !(in.Hold >= 0 && in.Hold <= session.MaxHold.Seconds()) {
		return problemf(http.StatusBadRequest, "hold_seconds goes from 0 to %v.", session.MaxHold.Seconds())
	}
	req.Hold = time.Duration(in.Hold * float64(time.Second))
	if in.Level != nil {
		req.Level, req.LevelExplicit = *in.Level/100, true
	}
	now, err := s.cfg.Session.Show(req)
	if errors.Is(err, session.ErrRequest) {
		return problemf(http.StatusBadRequest, "%s.", sentence(err))
	}
	if errors.Is(err, session.ErrHeld) {
		return problemf(http.StatusConflict, "Everything is held dark by %s. Lift the hold first.", now.Hold.By)
	}
	if err != nil {
		return err
	}
	show := now.Shown
	s.whites.note(show)
	s.cfg.Log.Info("shown from the page", "from", r.RemoteAddr, "pattern", show.Pattern.Name, "strings", len(show.Strings), "level", textout.Number(percent(show.Level))+"%")
	return writeJSON(w, http.StatusOK, s.state(now, r.URL.Query().Get("string")))
}

// keptWithin is how long the answer to dark waits for the disk.
const keptWithin = 100 * time.Millisecond

// postDark shows dark on every string, and holds it.
func (s *Server) postDark(w http.ResponseWriter, r *http.Request, _ struct{}) error {
	st := s.state(s.cfg.Session.HoldDark(s.who(r), time.Now()), r.URL.Query().Get("string"))
	if st.Hold != nil {
		st.Hold.Kept = new(s.cfg.Kept != nil && s.cfg.Kept(r.Context(), keptWithin))
	}
	s.cfg.Log.Info("dark from the page, and held", "from", r.RemoteAddr)
	return writeJSON(w, http.StatusOK, st)
}

// postResume lifts the hold.
func (s *Server) postResume(w http.ResponseWriter, r *http.Request, _ struct{}) error {
	if held := s.cfg.Session.Resume(); held != nil {
		s.cfg.Log.Info("the hold was lifted from the page", "from", r.RemoteAddr, "held_by", held.By, "since", held.Since)
	}
	return s.getState(w, r)
}

// who names whoever sent a request, for other people.
func (s *Server) who(r *http.Request) string {
	if phone, ok := s.phone(r); ok {
		return phone.Name
	}
	return "the page on this machine"
}
