package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net/http"
	"runtime"
	"strconv"
	"sync"
	"time"

	"yardproof/cmd/yardproof/internal/film"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// Limits of films that phones hand over.
const (
	filmIdle     = 15 * time.Second // without a frame another phone may begin
	filmKept     = time.Minute      // without a frame the frames are let go
	maxFilmFrame = 4 << 20          // octets of one frame
)

// cinema reads one film at a time, since its frames are in memory until it is read.
// They are let go then, and nothing of them touches the disk.
type cinema struct {
	mu      sync.Mutex
	showing *screening
}

// screening is a film on its way. The cinema's lock guards it.
type screening struct {
	id       string
	begun    time.Time
	heard    time.Time
	plan     *config.Plan
	reader   *film.Reader // nil once it is being read
	frames   int
	end      context.CancelFunc
	done, of int
	problem  string
	result   *film.Result
	recorded []record.Line
	letGo    *time.Timer
	before   *screening // read, from another side, and joined with this one
}

// filmed is a film as the page is told of it.
type filmed struct {
	ID      string       `json:"id"`
	Is      string       `json:"is"` // coming, reading, read or failed
	Frames  int          `json:"frames"`
	Done    int          `json:"done"` // steps of reading
	Of      int          `json:"of"`
	Problem string       `json:"problem,omitempty"`
	Sides   []filmedSide `json:"sides,omitempty"`   // films that are joined, each with its picture
	Strings []filmedLine `json:"strings,omitempty"` // those to look at first ahead
	Pixels  []film.Pixel `json:"pixels,omitempty"`
	Lines   int          `json:"lines"` // that are on record
}

type filmedSide struct {
	Called string `json:"called,omitempty"` // of a film on record
	Width  int    `json:"width"`            // of the picture in which places are
	Height int    `json:"height"`
}

func sidesOf(r *film.Result) (all []filmedSide) {
	for _, f := range r.Films {
		all = append(all, filmedSide{f.Called, f.Width, f.Height})
	}
	return all
}

type filmedLine struct {
	Name     string         `json:"name"`
	Is       string         `json:"is"` // wrong, part (nothing wrong, not all seen) or good
	Seen     int            `json:"seen"`
	Pixels   int            `json:"pixels"`
	Findings []film.Finding `json:"findings"`
	Says     []string       `json:"says"`
}

func (f *screening) told() filmed {
	t := filmed{ID: f.id, Is: "coming", Frames: f.frames, Done: f.done, Of: f.of, Problem: f.problem, Lines: len(f.recorded)}
	switch {
	case f.problem != "":
		t.Is = "failed"
	case f.result != nil:
		t.Is, t.Pixels, t.Sides = "read", f.result.Pixels, sidesOf(f.result)
		for _, s := range f.result.Summaries() {
			is := "part"
			if s.Good() {
				is = "good"
			} else if s.Wrong() {
				is = "wrong"
			}
			t.Strings = append(t.Strings, filmedLine{s.Name, is, s.Seen, s.Pixels, s.Findings, append([]string{}, s.Lines()...)})
		}
	case f.reader == nil:
		t.Is = "reading"
	}
	return t
}

// postFilm begins a film; also is one that was read, which it is joined with.
func (s *Server) postFilm(w http.ResponseWriter, r *http.Request, in struct {
	Also string `json:"also"`
}) error {
	plan := s.cfg.Session.Snapshot().Plan
	reader, err := film.New(plan, nil)
	if err != nil {
		return problemf(http.StatusConflict, "%s.", sentence(err))
	}
	c := &s.cinema
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	if f := c.showing; f != nil && f.problem == "" && f.result == nil && (f.reader == nil || now.Sub(f.heard) < filmIdle) {
		return problemf(http.StatusConflict, "Another film is being read. Wait until it is done, then try again.")
	}
	before := c.known(in.Also)
	if in.Also != "" && (before == nil || before.result == nil || before.plan != plan) {
		return problemf(http.StatusConflict, "The film from the other side is no longer here, or the plan was read again since. Hand over both.")
	}
	c.leave()
	f := &screening{id: rand.Text(), begun: now, heard: now, plan: plan, reader: reader, before: before}
	f.letGo = time.AfterFunc(filmKept, func() { s.cinema.forget(f) })
	c.showing = f
	return writeJSON(w, http.StatusCreated, f.told())
}

// forget lets a film's frames go that nobody goes on with, as when the page was closed.
func (c *cinema) forget(f *screening) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if f.reader != nil {
		f.reader, f.problem = nil, "The film did not come to its end. Hand it over again."
	}
}

// leave ends the film there is. One that it was to be joined with stays.
func (c *cinema) leave() {
	f := c.showing
	if f == nil {
		return
	}
	f.letGo.Stop()
	if f.end != nil {
		f.end()
	}
	if c.showing = nil; f.result == nil {
		c.showing = f.before
	}
}

// known is the film of this name: the one there is, or until that is read the one that it
// will be joined with.
func (c *cinema) known(id string) *screening {
	f := c.showing
	if f != nil && f.id != id && f.result == nil {
		f = f.before
	}
	if f == nil || f.id != id {
		return nil
	}
	return f
}

// find returns the film of this name, with the lock held until the returned function
// is called.
func (c *cinema) find(id string) (*screening, func(), error) {
	c.mu.Lock()
	if f := c.known(id); f != nil {
		return f, c.mu.Unlock, nil
	}
	c.mu.Unlock()
	return nil, nil, problemf(http.StatusNotFound, "This film is no longer here. Hand it over again.")
}

// postFrames takes one frame, as JPEG. Shown-At says when it is shown in the film, in
// seconds.
func (s *Server) postFrames(w http.ResponseWriter, r *http.Request) error {
	at, err := strconv.ParseFloat(r.Header.Get("Shown-At"), 64)
	if err != nil || !(at >= 0 && at < 1e6) {
		return problemf(http.StatusBadRequest, "Shown-At %.20q is no time in seconds.", r.Header.Get("Shown-At"))
	}
	frame, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxFilmFrame))
	if err != nil {
		return problemf(http.StatusRequestEntityTooLarge, "A frame did not come whole, or is longer than %d MB.", maxFilmFrame>>20)
	}
	f, unlock, err := s.cinema.find(r.URL.Query().Get("film"))
	if err != nil {
		return err
	}
	defer unlock()
	switch {
	case f.problem != "":
		return problemf(http.StatusConflict, "%s", f.problem)
	case f.reader == nil:
		return problemf(http.StatusConflict, "This film has come to its end.")
	}
	if err := f.reader.Add(time.Duration(at*float64(time.Second)), frame); err != nil {
		f.reader, f.problem = nil, sentence(err)+"."
		return problemf(http.StatusUnprocessableEntity, "%s", f.problem)
	}
	f.heard, f.frames = time.Now(), f.reader.Frames()
	f.letGo.Reset(filmKept)
	w.WriteHeader(http.StatusNoContent)
	return nil
}

// postRead begins to read the film that has come. Half of the cores read: the others
// send.
func (s *Server) postRead(w http.ResponseWriter, r *http.Request, in struct {
	Film string `json:"film"`
}) error {
	f, unlock, err := s.cinema.find(in.Film)
	if err != nil {
		return err
	}
	defer unlock()
	if f.reader != nil {
		f.letGo.Stop()
		reader := f.reader
		ctx, end := context.WithCancel(context.Background())
		f.reader, f.end = nil, end
		reader.Cores = max(1, runtime.GOMAXPROCS(0)/2)
		go s.cinema.read(ctx, f, reader)
	}
	return writeJSON(w, http.StatusAccepted, f.told())
}

// read reads a film.
func (c *cinema) read(ctx context.Context, f *screening, reader *film.Reader) {
	defer f.end()
	res, err := reader.Read(ctx, func(done, of int) {
		c.mu.Lock()
		f.done, f.of = done, of
		c.mu.Unlock()
	})
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case errors.Is(err, context.Canceled):
		f.problem = "It was cancelled."
	case err != nil:
		f.problem = sentence(err) + "."
	default:
		if f.result = res; f.before != nil {
			f.result, f.before = film.Merge(f.before.result, res), nil
		}
	}
}

// getFilm tells how far a film is, and what it shows.
func (s *Server) getFilm(w http.ResponseWriter, r *http.Request) error {
	f, unlock, err := s.cinema.find(r.URL.Query().Get("film"))
	if err != nil {
		return err
	}
	told := f.told()
	unlock()
	return writeJSON(w, http.StatusOK, told)
}

// getStill is the picture of a side with every pixel marked.
func (s *Server) getStill(w http.ResponseWriter, r *http.Request) error {
	f, unlock, err := s.cinema.find(r.URL.Query().Get("film"))
	if err != nil {
		return err
	}
	res := f.result
	unlock()
	if res == nil {
		return problemf(http.StatusConflict, "The film is not read yet.")
	}
	return writeStill(w, r, res, "")
}

// postFilmProofs puts on record what a film shows, once.
func (s *Server) postFilmProofs(w http.ResponseWriter, r *http.Request, in struct {
	Film    string       `json:"film"`
	Stage   record.Stage `json:"stage"`
	Picture bool         `json:"picture"` // is kept too
}) error {
	if in.Stage != record.Hung && in.Stage != record.Opening {
		return problemf(http.StatusBadRequest, "A film proves strings that hang: the stage is hung or opening.")
	}
	f, unlock, err := s.cinema.find(in.Film)
	if err != nil {
		return err
	}
	defer unlock()
	if f.result == nil {
		return problemf(http.StatusConflict, "The film is not read yet.")
	}
	called := "film of " + f.begun.Format(textout.Minutes)
	lines := f.result.Proofs(in.Stage, called)
	for _, l := range lines[len(f.recorded):] {
		if str := f.plan.Find(l.String); str != nil {
			l.Label = s.hangs(str)
		}
		l.Once = fmt.Sprintf("film-%s-%d", f.id, len(f.recorded))
		kept, err := s.cfg.Record.Append(l)
		if err != nil && !errors.Is(err, record.ErrAgain) {
			return notKept(err)
		}
		f.recorded = append(f.recorded, kept)
	}
	if err := f.result.Keep(s.cfg.State, called, in.Picture); err != nil {
		return problemf(http.StatusInsufficientStorage, "What was seen is on record. Where each pixel is was not kept: %v.", err)
	}
	return writeJSON(w, http.StatusCreated, f.told())
}

// postFilmCancel ends a film, wherever it is; one that it was to be joined with stays.
func (s *Server) postFilmCancel(w http.ResponseWriter, r *http.Request, in struct {
	Film string `json:"film"`
}) error {
	f, unlock, err := s.cinema.find(in.Film)
	if err != nil {
		return err
	}
	defer unlock()
	if f == s.cinema.showing {
		s.cinema.leave()
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
