// Package web serves the yard's page and the API under it: what is shown, what
// was proved, how the network does. It keeps strangers out and refuses to know
// how light is made, how packets leave and where a proof is kept: it asks the
// session, the record and whoever watches the network.
package web

import (
	"context"
	"crypto/tls"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"yardproof/cmd/yardproof/internal/history"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/config/protection"
	"yardproof/sacn/listener"
)

// Config is what the page shows and who may see it.
type Config struct {
	Session *session.Session
	State   string // the state directory: links and sessions are kept in it

	// Loopback says that the listener accepts this machine's own connections
	// only. Nobody is asked for a session then.
	Loopback  bool
	HostNames []string // names that this machine is called by, beside its own

	// Certificate returns what the page is served by HTTPS with. Nil: it is served by HTTP.
	Certificate func() *tls.Certificate

	Metrics     http.Handler // nil: there are none
	MetricsOpen bool         // metrics need no session
	Ready       func() error // nil, or why the transmitter is not ready

	// Health returns samples of the last minutes, the oldest first. Nil: nothing
	// is measured.
	Health  func() []history.Sample
	LastDay http.Handler // the last day, drawn; nil: there is none
	Opening http.Handler // the sheet for opening night, and its style; nil: there is none

	// Competing returns the other sources on universes of ours, and listens on some
	// of them without a pause for a while. Nil: nobody looks for any.
	Competing func(universes []uint16) []listener.CompetingSource

	// Protection returns what was found of a plan's fuses and wires. Nil: nobody looked.
	Protection func(*config.Plan) *protection.Report

	// Propose works out where the strings of the session's plan should be fed, for a level
	// above 0 to 1 and perhaps with any one feed lost, until ctx ends. It says how far it
	// is, and what it returns is told as JSON. Nil: nothing is proposed.
	Propose func(ctx context.Context, level float64, loseOne bool, says func(string)) (any, error)

	Record *record.Log
	Bench  *Bench // nil: this is no bench, and strings hang where the plan has them

	Rehearsal *Rehearsal // nil: what is sent is meant

	// Kept waits, at most for a time, until a hold is on disk.
	Kept func(ctx context.Context, most time.Duration) bool

	// What a programme adds; nil without one.
	Says    func() string                 // how far it is, in a few words
	Looked  func(note, once string) error // notes that somebody looked at the display
	Version string
	Log     *slog.Logger
}

// Rehearsal is what a rehearsal adds: a page of its own under /rehearsal/, and what
// that asks for. The yard page then says loudly that nothing is real.
type Rehearsal struct {
	Page fs.FS // has a directory "page"
	API  http.Handler

	// Competing stands for what listening finds, see [Config.Competing].
	Competing func(universes []uint16) []listener.CompetingSource
}

const rehearsalPath = "/rehearsal/"

// Server is the page and its API.
type Server struct {
	cfg     Config
	hosts   map[string]bool
	links   *keyring
	phones  *phonebook
	guesses guesses
	streams atomic.Int64
	moves   atomic.Uint64
	page    *page
	whites  whites
	meters  meters
	plans   versions
	cinema  cinema

	proposing sync.Mutex // held while a proposal is worked out
}

// New returns the server for a session. It fails when the state directory
// cannot hold sessions.
func New(cfg Config) (*Server, error) {
	s := &Server{cfg: cfg, hosts: hostNames(cfg.HostNames), page: loadPage()}
	var err error
	if cfg.Rehearsal != nil {
		s.page.add(cfg.Rehearsal.Page, rehearsalPath)
	}
	if s.links, err = linksOf(cfg.State).open(); err != nil {
		return nil, err
	}
	if s.phones, err = openPhones(cfg.State); err != nil {
		return nil, err
	}
	return s, nil
}

// Limits of a server that strangers can reach.
const (
	headerTimeout  = 5 * time.Second
	requestTimeout = 20 * time.Second // to read a request and write its answer, streams apart
	eventTimeout   = 5 * time.Second  // to write one event of a stream
	idleTimeout    = time.Minute
	maxHeader      = 16 << 10
)

// Serve answers on ln until ctx ends, then lets what is being answered finish
// for a second.
func (s *Server) Serve(ctx context.Context, ln net.Listener) error {
	base, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	srv := &http.Server{
		Handler: s.Handler(),

		DisableGeneralOptionsHandler: true, // it would answer OPTIONS * before the guard

		ReadHeaderTimeout: headerTimeout,
		IdleTimeout:       idleTimeout,
		MaxHeaderBytes:    maxHeader,
		BaseContext:       func(net.Listener) context.Context { return base },
		ConnContext:       withConn,
		ErrorLog:          slog.NewLogLogger(s.cfg.Log.Handler(), slog.LevelDebug),
	}
	crowd := &crowdListener{Listener: ln}
	ended := make(chan error, 1)
	go func() { ended <- srv.Serve(s.secured(crowd)) }()
	go s.move(base, crowd)
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	cancel() // ends the streams
	last, stop := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer stop()
	if err := srv.Shutdown(last); err != nil {
		return srv.Close()
	}
	return nil
}

// secured is a listener that speaks TLS, if that was asked for. HTTP/2 would put many
// requests on one connection, which the crowd is not counted by.
func (s *Server) secured(ln net.Listener) net.Listener {
	if s.cfg.Certificate == nil {
		return ln
	}
	return tls.NewListener(ln, &tls.Config{
		NextProtos:     []string{"http/1.1"},
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return s.cfg.Certificate(), nil },
	})
}

// move takes, each second, all that letting a phone in and answering it takes, but the
// network: whose faults must not end the light.
func (s *Server) move(ctx context.Context, crowd *crowdListener) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		crowd.size()
		s.phones.find("")
		s.state(s.cfg.Session.Snapshot(), "")
		s.moves.Add(1)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// Moves counts the seconds in which the page could answer, since Serve began.
func (s *Server) Moves() uint64 { return s.moves.Load() }

// A route is one path. Its handler returns what went wrong, to be told as a
// problem document.
type route struct {
	method string
	path   string
	open   bool   // needs no session
	query  string // the one key that its query may have; "": none
	do     func(w http.ResponseWriter, r *http.Request) error
}

func (s *Server) routes() []route {
	opening := served(s.cfg.Opening, "There is no sheet for opening night here.")
	return []route{
		{method: "GET", path: "/healthz", open: true, do: s.healthz},
		{method: "GET", path: "/readyz", open: true, do: s.readyz},
		{method: "GET", path: "/metrics", open: s.cfg.MetricsOpen, do: served(s.cfg.Metrics, "There are no metrics here.")},
		{method: "GET", path: "/last-day", do: served(s.cfg.LastDay, "The last day is not kept here.")},
		{method: "GET", path: "/opening", do: opening},
		{method: "GET", path: "/opening.css", do: opening},
		{method: "POST", path: "/api/session", open: true, do: taking(s.postSession)},
		{method: "POST", path: "/api/links", do: taking(s.postLinks)},
		{method: "GET", path: "/api/phones", do: s.getPhones},
		{method: "POST", path: "/api/phones/revoke", do: taking(s.postRevoke)},
		{method: "GET", path: "/api/plan", do: s.getPlan},
		{method: "GET", path: "/api/state", query: "string", do: s.getState},
		{method: "GET", path: "/api/health", do: s.getHealth},
		{method: "GET", path: "/api/events", query: "string", do: s.getEvents},
		{method: "POST", path: "/api/show", query: "string", do: taking(s.postShow)},
		{method: "POST", path: "/api/dark", query: "string", do: taking(s.postDark)},
		{method: "POST", path: "/api/resume", query: "string", do: taking(s.postResume)},
		{method: "GET", path: "/api/proofs", query: "after", do: s.getProofs},
		{method: "POST", path: "/api/proofs", do: s.postProofs},
		{method: "GET", path: "/api/bench", do: s.getBench},
		{method: "POST", path: "/api/replacements", do: s.postReplacements},
		{method: "POST", path: "/api/notes", do: s.postNotes},
		{method: "POST", path: "/api/looks", do: s.postInspection},
		{method: "POST", path: "/api/diagnose", do: taking(s.postDiagnose)},
		{method: "POST", path: "/api/film", do: taking(s.postFilm)},
		{method: "GET", path: "/api/film", query: "film", do: s.getFilm},
		{method: "POST", path: "/api/film/frames", query: "film", do: s.postFrames},
		{method: "POST", path: "/api/film/read", do: taking(s.postRead)},
		{method: "GET", path: "/api/film/still/{side}", query: "film", do: s.getStill},
		{method: "POST", path: "/api/film/proofs", do: taking(s.postFilmProofs)},
		{method: "POST", path: "/api/film/cancel", do: taking(s.postFilmCancel)},
		{method: "POST", path: "/api/proposal", do: taking(s.postProposal)},
		{method: "GET", path: "/api/places", query: "string", do: s.getPlaces},
		{method: "GET", path: "/api/places/{side}", query: "string", do: s.getPlacesPicture},
		{method: "GET", path: "/api/symptoms", query: "words", do: s.getSymptoms},
	}
}

// Handler returns the page, the API, /healthz, /readyz and /metrics.
func (s *Server) Handler() http.Handler {
	mux := http.NewServeMux()
	paths := map[string][]route{}
	for _, r := range s.routes() {
		paths[r.path] = append(paths[r.path], r)
	}
	for path, routes := range paths {
		mux.Handle(path, s.handle(routes...))
	}
	if re := s.cfg.Rehearsal; re != nil {
		do := served(re.API, "")
		mux.Handle(rehearsalPath, s.handle(route{method: "GET", path: rehearsalPath, do: do}, route{method: "POST", path: rehearsalPath, do: do}))
	}
	for name := range s.page.files {
		mux.Handle(name, s.handle(route{method: "GET", path: name, open: true, do: s.page.serve}))
	}
	mux.Handle("/", s.handle(route{method: "GET", open: true, do: func(http.ResponseWriter, *http.Request) error {
		return problemf(http.StatusNotFound, "There is nothing at this address.")
	}}))
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(answer(func(http.ResponseWriter, *http.Request) error {
		return problemf(http.StatusForbidden, "This came from another site's page; open the yard page itself.")
	}))
	return s.guard(cross.Handler(mux))
}

// handle serves the routes of one path.
func (s *Server) handle(routes ...route) http.Handler {
	var methods []string
	for _, r := range routes {
		methods = append(methods, r.method)
	}
	allow := strings.Join(methods, ", ")
	return answer(func(w http.ResponseWriter, req *http.Request) error {
		method := req.Method
		if method == http.MethodHead {
			method = http.MethodGet
		}
		i := slices.Index(methods, method)
		if i < 0 {
			w.Header().Set("Allow", allow)
			return problemf(http.StatusMethodNotAllowed, "%s is not served here; use %s.", req.Method, allow)
		}
		r := routes[i]
		_, known := s.phone(req)
		known = known || s.cfg.Loopback && !r.open
		if known {
			vouch(req)
		}
		if !r.open && !known {
			w.Header().Set("WWW-Authenticate", `Cookie realm="yardproof", form-action="/", cookie-name="`+cookieName+`"`) // RFC 9110 clause 11.6.1 wants a challenge; there is no registered scheme for a link
			return problemf(http.StatusUnauthorized, "This phone is not known yet. Open the link that the laptop shows, or ask for a new one: yardproof link.")
		}
		if err := r.checkQuery(req); err != nil {
			return err
		}
		return r.do(w, req)
	})
}

// checkQuery refuses what the API would not look at, as [readJSON] does: a slip in a
// key must not pass for what was meant.
func (r route) checkQuery(req *http.Request) error {
	if !strings.HasPrefix(r.path, "/api/") {
		return nil
	}
	query, err := url.ParseQuery(req.URL.RawQuery)
	if err != nil {
		return problemf(http.StatusBadRequest, "The query cannot be read: %v.", err)
	}
	for key, values := range query {
		if key != r.query || len(values) > 1 {
			return problemf(http.StatusBadRequest, "The query's %.40q is unknown, or is there twice; yardproof help api lists what each request takes.", key)
		}
	}
	return nil
}

func (s *Server) healthz(w http.ResponseWriter, _ *http.Request) error { return plain(w, "ok\n") }

func (s *Server) readyz(w http.ResponseWriter, _ *http.Request) error {
	if s.cfg.Ready != nil {
		if err := s.cfg.Ready(); err != nil {
			return problemf(http.StatusServiceUnavailable, "Not ready: %v.", err)
		}
	}
	return plain(w, "ready\n")
}

func plain(w http.ResponseWriter, words string) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, err := io.WriteString(w, words)
	return gone(err)
}

// served hands requests on; where there is nobody to take them it says so.
func served(by http.Handler, none string) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		if by == nil {
			return problemf(http.StatusNotFound, "%s", none)
		}
		by.ServeHTTP(w, r)
		return nil
	}
}
