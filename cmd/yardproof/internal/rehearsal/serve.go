package rehearsal

import (
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strings"

	"yardproof/cmd/yardproof/internal/jsonbody"
	"yardproof/cmd/yardproof/internal/rehearsal/yard"
	"yardproof/config"
)

// Page has the directory "page": the drawn yard.
//
//go:embed page
var Page embed.FS

// Handler serves what the page asks for, under /rehearsal/. Whoever may see the page
// may ask: the caller keeps strangers out.
//
//	GET  yard   the strings, and what may be wrong with them
//	GET  look   what an eye sees now: three octets for each pixel, string after string
//	POST meter  {string, pixel} or {string, feed}: what clamp and voltmeter read there
//	POST mend   {kind, string, place}: a hidden fault is named, and mended if it is there
//	GET  score  how it stands; what is not found is told once it is over
//	POST end    ends the evening, and tells what was hidden
func (r *Rehearsal) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		refuse(w, http.StatusNotFound, "There is nothing at this address.")
	})
	mux.HandleFunc("GET /rehearsal/yard", r.getYard)
	mux.HandleFunc("GET /rehearsal/look", r.getLook)
	mux.HandleFunc("GET /rehearsal/score", r.getScore)
	mux.HandleFunc("POST /rehearsal/meter", r.postMeter)
	mux.HandleFunc("POST /rehearsal/mend", r.postMend)
	mux.HandleFunc("POST /rehearsal/end", func(w http.ResponseWriter, req *http.Request) {
		if read(w, req, &struct{}{}) {
			answer(w, r.Score())
		}
	})
	return mux
}

type drawnString struct {
	Name       string `json:"name"`
	Label      string `json:"label"`
	Number     int    `json:"number"`
	Controller string `json:"controller"`
	Pixels     int    `json:"pixels"` // as they hang: copies included
	Copies     int    `json:"copies"`
	Feeds      []feed `json:"feeds"`
}

type feed struct {
	Pixel int    `json:"pixel"` // where it joins; 0: ahead of the first
	Says  string `json:"says"`
}

type kind struct {
	Kind yard.Kind `json:"kind"`
	At   string    `json:"at"` // pixel, joint, feed or "": no place
}

func (r *Rehearsal) getYard(w http.ResponseWriter, _ *http.Request) {
	drawn := struct {
		Name    string        `json:"name"`
		Hidden  int           `json:"hidden"`
		Over    bool          `json:"over"`
		Strings []drawnString `json:"strings"`
		Kinds   []kind        `json:"kinds"`
	}{Name: r.cfg.Plan.Name, Hidden: r.cfg.Hidden, Over: r.over()}
	for _, s := range r.cfg.Plan.Strings {
		d := drawnString{Name: s.Name, Label: s.Label, Number: s.Number(), Copies: max(s.Copies, 1)}
		d.Pixels = s.Pixels * d.Copies
		if s.Controller != nil {
			d.Controller = s.Controller.Name
		}
		for _, f := range s.Feeds {
			pixel := max(f.Address-s.NullPixels, 1)
			if f.At == "start" {
				pixel = 0
			}
			d.Feeds = append(d.Feeds, feed{pixel, f.At})
		}
		drawn.Strings = append(drawn.Strings, d)
	}
	places := map[yard.At]string{yard.Pixel: "pixel", yard.Joint: "joint", yard.Feed: "feed"}
	for _, k := range yard.Kinds() {
		drawn.Kinds = append(drawn.Kinds, kind{k.Kind, places[k.At]})
	}
	answer(w, drawn)
}

func (r *Rehearsal) over() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.game.over
}

// eye is what an octet of light is on a screen: light adds up, screens do not (IEC
// 61966-2-1), and an eye outdoors opens for what is dim.
var eye = func() (table [256]byte) {
	for v := range table {
		x := math.Pow(float64(v)/255, 0.8)
		if x <= 0.0031308 {
			x *= 12.92
		} else {
			x = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		table[v] = byte(math.Round(255 * x))
	}
	return table
}()

func (r *Rehearsal) getLook(w http.ResponseWriter, _ *http.Request) {
	r.mu.Lock()
	r.look = r.look[:0]
	for n := range r.cfg.Plan.Strings {
		r.look = r.yard.Look(r.look, n)
	}
	out := make([]byte, 0, 3*len(r.look))
	for _, c := range r.look {
		for _, v := range [3]uint8{c.R, c.G, c.B} {
			out = append(out, eye[min(int(v)+int(c.W), 255)])
		}
	}
	r.mu.Unlock()
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Write(out)
}

// postMeter reads both meters at one place: at a pixel the volts there and the
// current that goes on from it, at a feed the volts of its supply and the current in
// its lead.
func (r *Rehearsal) postMeter(w http.ResponseWriter, req *http.Request) {
	var at struct {
		String string `json:"string"`
		Pixel  int    `json:"pixel"`
		Feed   int    `json:"feed"` // from 1
	}
	if !read(w, req, &at) {
		return
	}
	s := r.cfg.Plan.Find(at.String)
	if s == nil || at.Feed > len(s.Feeds) || at.Feed < 0 || at.Pixel < 0 || at.Pixel > s.Pixels || (at.Feed > 0) == (at.Pixel > 0) {
		refuse(w, http.StatusBadRequest, "There is no such place to measure at.")
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	took, where := atGround, fmt.Sprintf("%s, feed %d", s.Name, at.Feed)
	if at.Feed == 0 {
		took, where = ladder, fmt.Sprintf("%s, pixel %d", s.Name, at.Pixel)
	}
	took = r.charge(r.walk(s.Name) + took)
	if at.Feed == 0 && took > 0 {
		r.game.climbs++
	}
	volts, amps := r.measure(s, at.Pixel, at.Feed)
	answer(w, map[string]any{
		"volts": r.volt.Read(volts), "amps": r.clamp.Read(amps), "where": where, "minutes": took.Minutes(),
	})
}

// measure is what is true at a pixel or a feed.
func (r *Rehearsal) measure(s *config.String, pixel, feed int) (volts, amps float64) {
	if feed == 0 {
		return r.yard.Volts(s.Index, pixel), r.yard.WireAmps(s.Index, pixel)
	}
	f := s.Feeds[feed-1]
	if f.Supply == nil {
		return r.yard.Volts(s.Index, 0), r.yard.FeedAmps(s.Index, feed-1)
	}
	return r.yard.SupplyVolts(f.Supply), r.yard.FeedAmps(s.Index, feed-1)
}

func (r *Rehearsal) postMend(w http.ResponseWriter, req *http.Request) {
	var c claim
	if !read(w, req, &c) {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	was, took, err := r.mend(c)
	if err != nil {
		words := err.Error()
		refuse(w, http.StatusBadRequest, strings.ToUpper(words[:1])+words[1:]+".")
		return
	}
	answer(w, map[string]any{"was": was, "minutes": took.Minutes(), "left": len(r.game.left()), "over": r.game.over})
}

// getScore tells no more than the helper knows.
func (r *Rehearsal) getScore(w http.ResponseWriter, _ *http.Request) {
	r.mu.Lock()
	s := r.score()
	r.mu.Unlock()
	if !s.Over {
		s.Missed = []string{}
	}
	answer(w, s)
}

func answer(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v)
}

// refuse tells what is wrong as a problem document (RFC 9457), as the rest of the
// page's API does.
func refuse(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]any{"title": http.StatusText(status), "status": status, "detail": detail})
}

func read(w http.ResponseWriter, req *http.Request, v any) bool {
	err := jsonbody.Read(w, req, v)
	if refused, ok := errors.AsType[*jsonbody.Refusal](err); ok {
		refuse(w, refused.Status, refused.Detail)
	}
	return err == nil
}
