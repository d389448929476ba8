package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/config"
	"yardproof/sacn"
	"yardproof/sacn/listener"
)

// listenFlags are the flags of the listen command.
type listenFlags struct {
	iface     string
	universes string
	plan      string
	length    time.Duration
	format    string
	http      string
	ipv6      bool
}

func listenCommand() command {
	return command{
		name: "listen",
		does: "Be the far end: join universes and say what arrives, from whom, and what does not",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			var f listenFlags
			fs.StringVar(&f.iface, "interface", "", "the network interface to listen on")
			fs.StringVar(&f.universes, "universes", "", "universes to join, 1-40,100; default the plan's; without either, discovery alone")
			fs.StringVar(&f.plan, "plan", "", "a plan `file`: what is missing is named with its strings")
			fs.DurationVar(&f.length, "for", 0, "stop after this long; default when told to")
			fs.StringVar(&f.format, "format", "text", "text or json")
			fs.StringVar(&f.http, "http", "", "an address that serves the metrics; default none")
			fs.BoolVar(&f.ipv6, "ipv6", false, "listen over IPv6; default as the plan says, else IPv4")
			return func(ctx context.Context, std stdio, args []string) error {
				if len(args) > 0 {
					return usagef("%q is one word too many", args[0])
				}
				return f.run(ctx, std)
			}
		},
	}
}

// farEnd is a listener and what is expected of the air.
type farEnd struct {
	l       *listener.Listener
	joined  []uint16
	strings map[uint16][]string // of the plan, by universe
	unicast []string            // sentences on what cannot be heard here
	begun   time.Time
}

func (f *listenFlags) run(ctx context.Context, std stdio) error {
	if f.format != "text" && f.format != "json" {
		return usagef("--format %q is neither text nor json", f.format)
	}
	if f.length < 0 {
		return usagef("--for %v: it must be above 0", f.length)
	}
	far := &farEnd{strings: make(map[uint16][]string)}
	var err error
	if far.joined, err = parseUniverses(f.universes); err != nil {
		return usageError{fmt.Errorf("--universes: %w", err)}
	}
	if f.plan != "" {
		if err := f.expect(far, std); err != nil {
			return err
		}
	}
	size, live := terminalSize(std.out)
	live = live && f.format == "text"
	cfg := listener.Config{Interface: f.iface, IPv6: f.ipv6, Universes: far.joined, Log: newLogger(std.err)}
	if live {
		cfg.Log = slog.New(slog.DiscardHandler) // the table says the same, and log lines would tear it
	}
	if far.l, err = listener.Open(cfg); err != nil {
		if f.iface == "" {
			return usagef("--interface: %v", err)
		}
		return err
	}
	far.begun = time.Now()
	if f.length > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, f.length)
		defer cancel()
	}
	tasks := []task{far.l.Run}
	if f.http != "" {
		page, err := net.Listen("tcp", f.http)
		if err != nil {
			return fmt.Errorf("--http %s: %w; name another address, or stop what uses this one", f.http, err)
		}
		fmt.Fprintf(std.err, "metrics at http://%s/metrics\n", page.Addr())
		tasks = append(tasks, far.serve(page))
	}
	switch {
	case live:
		tasks = append(tasks, func(ctx context.Context) error { return far.table(ctx, std.out, size) })
	case f.format == "text":
		tasks = append(tasks, func(ctx context.Context) error { return far.lines(ctx, std.out) })
	}
	if err := together(ctx, tasks...); err != nil {
		return err
	}
	answer := far.answer()
	if f.format == "json" {
		enc := json.NewEncoder(std.out)
		enc.SetIndent("", "  ")
		err = enc.Encode(answer)
	} else {
		err = answer.print(std.out)
	}
	if err == nil && len(answer.Findings) > 0 {
		return errFound
	}
	return err
}

// expect takes from the plan what should be heard.
func (f *listenFlags) expect(far *farEnd, std stdio) error {
	plan, problems, err := loadPlan(f.plan)
	if err != nil {
		return err
	}
	if n := countErrors(problems); n > 0 {
		printProblems(std.err, problems)
		return fmt.Errorf("%s has %d errors; what should be heard is not certain before they are mended", f.plan, n)
	}
	f.ipv6 = f.ipv6 || plan.Network.IPv6
	m := plan.Map()
	asked := f.universes != ""
	for _, u := range m.Universes {
		n := uint16(u.Number)
		if u.Address.IsValid() {
			far.unicast = append(far.unicast, fmt.Sprintf("universe %d goes to %s by unicast: not measured here", n, u.Address))
		} else if !asked {
			far.joined = append(far.joined, n)
		}
	}
	for i, s := range m.Strings {
		for _, seg := range s.Segments {
			n := uint16(seg.Universe)
			if list := far.strings[n]; !slices.Contains(list, plan.Strings[i].Name) {
				far.strings[n] = append(list, plan.Strings[i].Name)
			}
		}
	}
	return nil
}

// parseUniverses reads a list such as 1-40,100. It returns them ascending, each
// once.
func parseUniverses(s string) ([]uint16, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	set := new(listener.Set)
	for part := range strings.SplitSeq(s, ",") {
		from, to, isRange := strings.Cut(part, "-")
		if !isRange {
			to = from
		}
		first, err1 := strconv.Atoi(strings.TrimSpace(from))
		last, err2 := strconv.Atoi(strings.TrimSpace(to))
		switch {
		case err1 != nil || err2 != nil:
			return nil, fmt.Errorf("%q is neither a universe nor a range such as 1-40", part)
		case first > last:
			return nil, fmt.Errorf("%q runs backwards", part)
		case first < config.MinUniverse || last > config.MaxUniverse:
			return nil, fmt.Errorf("%q is outside universes %d-%d", part, config.MinUniverse, config.MaxUniverse)
		}
		for u := first; u <= last; u++ {
			set.Add(uint16(u))
		}
	}
	return set.List(), nil
}

func (far *farEnd) serve(page net.Listener) task {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", metrics.Handler("", metrics.Listener{Joined: far.joined, Read: far.l.Snapshot}))
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute}
	return func(ctx context.Context) error {
		context.AfterFunc(ctx, func() { server.Close() })
		if err := server.Serve(page); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("serving the metrics: %w", err)
		}
		return nil
	}
}

// listenAnswer is what listen has to say; its JSON keys are a contract.
type listenAnswer struct {
	Interface  string           `json:"interface"`
	Seconds    float64          `json:"seconds"`
	Joined     int              `json:"joined"`
	Sources    []heardSource    `json:"sources"`
	Conflicts  []heardConflict  `json:"conflicts"`
	Malformed  uint64           `json:"malformed"`
	Reasons    map[string]int64 `json:"malformed_reasons"`
	Missing    []missing        `json:"missing"`
	Discovered []discovered     `json:"discovered"`
	LocalDrops *uint64          `json:"local_drops"` // null: the kernel does not tell
	Findings   []string         `json:"findings"`    // what is wrong; none: all was well
	Notes      []string         `json:"notes"`       // what else is worth knowing
}

type heardSource struct {
	CID       string          `json:"cid"`
	Name      string          `json:"name"`
	Address   string          `json:"address"`
	Universes []heardUniverse `json:"universes"`
}

type heardUniverse struct {
	Universe      uint16  `json:"universe"`
	Priority      uint8   `json:"priority"`
	Packets       uint64  `json:"packets"`
	Lost          uint64  `json:"lost"`
	LostLocal     uint64  `json:"lost_maybe_local"`
	OutOfOrder    uint64  `json:"out_of_order"`
	Duplicates    uint64  `json:"duplicates"`
	LossPercent   float64 `json:"loss_percent"`
	RateHz        float64 `json:"rate_hz"`
	JitterMS      float64 `json:"jitter_ms"`
	LongestGapMS  float64 `json:"longest_gap_ms"`
	Outages       uint32  `json:"outages"`
	OutageSeconds float64 `json:"outage_seconds"`
	Restarts      uint64  `json:"restarts"`
	Preview       bool    `json:"preview"`
	Terminated    bool    `json:"terminated"`
	Live          bool    `json:"live"`
	SyncAddress   uint16  `json:"sync_address"`
	Synchronised  bool    `json:"synchronised"`

	rateNow float64
	silent  time.Duration
}

type heardConflict struct {
	Universe uint16   `json:"universe"`
	Sources  []string `json:"sources"` // CIDs
	Winner   *string  `json:"winner"`  // CID; null: a tie
	Active   bool     `json:"active"`

	says string
}

type missing struct {
	Universe uint16   `json:"universe"`
	Strings  []string `json:"strings"`
}

type discovered struct {
	CID       string   `json:"cid"`
	Name      string   `json:"name"`
	Universes []uint16 `json:"universes"`
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// answer is what is known now.
func (far *farEnd) answer() *listenAnswer {
	r := far.l.Snapshot()
	a := &listenAnswer{
		Interface: r.Interface, Seconds: round(r.At.Sub(far.begun).Seconds(), 3), Joined: len(far.joined),
		Sources: []heardSource{}, Conflicts: []heardConflict{}, Missing: []missing{}, Discovered: []discovered{}, Findings: []string{}, Notes: []string{},
		Malformed: r.MalformedTotal(), Reasons: make(map[string]int64),
	}
	for reason, n := range r.Malformed {
		a.Reasons[reason] = int64(n)
	}
	if r.Socket.DropsKnown {
		a.LocalDrops = &r.LocalDrops
	}
	heard := new(listener.Set)
	for i := range r.Sources {
		src := &r.Sources[i]
		if src.Announces {
			a.Discovered = append(a.Discovered, discovered{src.CID.String(), src.Name, src.Announced})
		}
		if len(src.Streams) == 0 {
			continue
		}
		hs := heardSource{CID: src.CID.String(), Name: src.Name, Address: src.Address.String()}
		for j := range src.Streams {
			s := &src.Streams[j]
			heard.Add(s.Universe)
			hs.Universes = append(hs.Universes, heardUniverse{
				Universe: s.Universe, Priority: s.Priority, Packets: s.Packets, Lost: s.Lost, LostLocal: s.LostLocal, OutOfOrder: s.OutOfOrder, Duplicates: s.Duplicates,
				LossPercent: round(s.LossPercent(), 4), RateHz: round(s.MeanRate, 2), JitterMS: milliseconds(s.Jitter), LongestGapMS: milliseconds(s.LongestGap),
				Outages: s.Outages, OutageSeconds: round(s.Outage.Seconds(), 3), Restarts: s.Restarts, Preview: s.Preview, Terminated: s.Terminated, Live: s.Live,
				SyncAddress: s.SyncAddress, Synchronised: s.Synced, rateNow: s.Rate, silent: r.At.Sub(s.Last),
			})
		}
		a.Sources = append(a.Sources, hs)
	}
	for _, c := range r.Conflicts {
		a.Conflicts = append(a.Conflicts, describeConflict(c))
	}
	for _, u := range far.joined {
		if !heard.Has(u) {
			a.Missing = append(a.Missing, missing{u, append([]string{}, far.strings[u]...)})
		}
	}
	a.find(&r)
	a.note(&r, far)
	return a
}

func describeConflict(c listener.Conflict) heardConflict {
	out := heardConflict{Universe: c.Universe, Active: c.Active}
	var who []string
	for _, p := range c.Sources {
		out.Sources = append(out.Sources, p.CID.String())
		who = append(who, fmt.Sprintf("%q at %s (priority %d)", p.Name, p.Address, p.Priority))
	}
	out.says = fmt.Sprintf("universe %d: %s", c.Universe, strings.Join(who, " and "))
	if c.Tie {
		out.says += " tie: what is shown is anybody's guess"
		return out
	}
	cid := c.Winner.String()
	out.Winner = &cid
	for _, p := range c.Sources {
		if p.CID == c.Winner {
			out.says += fmt.Sprintf("; %q wins", p.Name)
		}
	}
	return out
}

// find says what is wrong, a sentence each.
func (a *listenAnswer) find(r *listener.Report) {
	found := func(format string, args ...any) { a.Findings = append(a.Findings, fmt.Sprintf(format, args...)) }
	var lost, local, received, restarts uint64
	var outages uint32
	lossy, silent, reserved := new(listener.Set), new(listener.Set), new(listener.Set)
	for _, src := range a.Sources {
		for _, u := range src.Universes {
			lost, local, outages, restarts = lost+u.Lost, local+u.LostLocal, outages+u.Outages, restarts+u.Restarts
			received += u.Packets - u.Duplicates
			if u.Lost > 0 {
				lossy.Add(u.Universe)
			}
			if u.Outages > 0 {
				silent.Add(u.Universe)
			}
			if u.Priority > sacn.MaxPriority {
				reserved.Add(u.Universe)
			}
		}
	}
	if lost > 0 {
		found("%d packets of %d were lost (%.3g %%), on %s", lost, received+lost, 100*float64(lost)/float64(received+lost), universesText(lossy.List()))
	}
	if local > 0 {
		found("up to %d of these were dropped by this host itself: local, not the wire", local)
	} else if r.LocalDrops > 0 {
		found("this host itself dropped %d packets: local, not the wire", r.LocalDrops)
	}
	if outages > 0 {
		found("%d times a stream was silent for over 2.5 s, on %s", outages, universesText(silent.List()))
	}
	if restarts > 0 {
		found("%d times a count went back by 20 or more: a source was restarted, or two share a CID", restarts)
	}
	for i, c := range a.Conflicts {
		if i == 5 {
			found("%d more universes have two sources", len(a.Conflicts)-i)
			break
		}
		found("%s", c.says)
	}
	if n := len(a.Missing); n > 0 {
		var universes []uint16
		var names []string
		for _, m := range a.Missing {
			universes = append(universes, m.Universe)
			for _, name := range m.Strings {
				if !slices.Contains(names, name) {
					names = append(names, name)
				}
			}
		}
		strs := ""
		if len(names) > 0 {
			strs = ", which is " + listText(names, 10)
		}
		found("nothing was heard on %s%s", universesText(universes), strs)
	}
	if a.Malformed > 0 {
		var reasons []string
		for reason, n := range a.Reasons {
			if n > 0 {
				reasons = append(reasons, fmt.Sprintf("%s %d", reason, n))
			}
		}
		slices.Sort(reasons)
		found("%d packets were malformed: %s", a.Malformed, strings.Join(reasons, ", "))
	}
	if list := reserved.List(); len(list) > 0 {
		found("a priority above %d on %s, which E1.31 reserves", sacn.MaxPriority, universesText(list))
	}
	if s := r.SnoopingSuspected(); s != "" {
		found("%s", s)
	}
}

// note says what else is worth knowing.
func (a *listenAnswer) note(r *listener.Report, far *farEnd) {
	note := func(format string, args ...any) { a.Notes = append(a.Notes, fmt.Sprintf(format, args...)) }
	if n := len(far.joined); n >= manyGroups {
		// 704 octets of Ethernet a packet: 638 of payload, 28 of headers, 38 of frame, preamble and gap.
		note("%d groups were joined, so the network sends all of them to this port: up to %.0f Mb/s at 40 Hz", n, float64(n)*704*8*40/1e6)
	}
	if s := r.Socket; s.DropsKnown && s.Buffer < s.Needed {
		note("the receive buffer of %d octets is smaller than one packet of every universe, %d: sysctl -w net.core.rmem_max=%d", s.Buffer, s.Needed, s.Needed)
	}
	if !r.Socket.DropsKnown {
		note("what this host drops itself is not known on this system, so loss may be local")
	}
	if !r.Querier.Known {
		note("whether a querier is on the network is not known: %s", r.Querier.Reason)
	}
	if r.Unasked > 0 {
		note("%d packets were left aside, of universes that another program of this host has joined", r.Unasked)
	}
	if r.Evicted+r.Refused > 0 {
		note("too many sources: %d silent ones were forgotten, %d packets of new ones refused", r.Evicted, r.Refused)
	}
	for _, src := range r.Sources {
		if src.Moved > 1 {
			note("%q changed its address %d times: two senders may share the CID %s", src.Name, src.Moved, src.CID)
		}
	}
	a.Notes = append(a.Notes, far.unicast...)
}

// manyGroups is from where the load that joining brings is worth a word.
const manyGroups = 100
