package web

import (
	"errors"
	"net/http"
	"time"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/patterns"
)

// usualLevel is the level of a pattern when nobody names one: enough to see
// colours by, too little to dazzle (common practice, no source).
const usualLevel = 0.3

// postShow puts something on the strings. A level above a cap is answered with
// the capped level, not refused.
func (s *Server) postShow(w http.ResponseWriter, r *http.Request) error {
	var in struct {
		Pattern string   `json:"pattern"`
		Strings []string `json:"strings"`
		Level   *float64 `json:"level_percent"`
		Pixel   int      `json:"pixel"`
		Slot    int      `json:"slot"`
		Count   int      `json:"count"`
		Hold    float64  `json:"hold_seconds"`
	}
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	req := session.Request{
		Pattern: in.Pattern, Strings: in.Strings, Level: usualLevel, Phone: true,
		Options: patterns.Options{Pixel: in.Pixel, Slot: in.Slot, Count: in.Count},
	}
	if !(in.Hold >= 0 && in.Hold <= session.MaxHold.Seconds()) {
		return problemf(http.StatusBadRequest, "hold_seconds goes from 0 to %v.", session.MaxHold.Seconds())
	}
	req.Hold = time.Duration(in.Hold * float64(time.Second))
	if in.Level != nil {
		req.Level, req.LevelExplicit = *in.Level/100, true
	}
	show, err := s.cfg.Session.Show(req)
	if errors.Is(err, session.ErrRequest) {
		return problemf(http.StatusBadRequest, "%s.", sentence(err))
	}
	if err != nil {
		return err
	}
	s.whites.note(show)
	s.cfg.Log.Info("shown from the page", "from", r.RemoteAddr, "pattern", show.Pattern, "strings", len(show.Strings), "level", show.Level)
	return s.getState(w, r)
}

// postDark shows dark on every string.
func (s *Server) postDark(w http.ResponseWriter, r *http.Request) error {
	if err := readJSON(w, r, &struct{}{}); err != nil {
		return err
	}
	s.cfg.Session.Dark()
	s.cfg.Log.Info("dark from the page", "from", r.RemoteAddr)
	return s.getState(w, r)
}
