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
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/textout"
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
					return usagef("unexpected argument %q", args[0])
				}
				return f.run(ctx, std)
			}
		},
	}
}

// farEnd is a listener and what is expected of the air.
type farEnd struct {
	l       *listener.Listener
	plan    string // its name
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
		if _, ok := errors.AsType[*listener.InterfaceError](err); ok {
			return usagef("--interface: %w", err)
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
	c, err := planfile.Read(f.plan)
	if err != nil {
		return err
	}
	plan := c.Plan
	if n := c.Errors(); n > 0 {
		c.Print(std.err)
		return fmt.Errorf("%s has %s: fix them first; until then nobody knows what should be heard", f.plan, textout.Count(n, "error"))
	}
	f.ipv6 = f.ipv6 || plan.Network.IPv6
	far.plan = plan.Name
	m := plan.Map()
	asked := f.universes != ""
	for _, u := range m.Universes {
		n := u.Number
		if u.Address.IsValid() {
			far.unicast = append(far.unicast, fmt.Sprintf("universe %d goes to %s by unicast: not measured here", n, u.Address))
		} else if !asked {
			far.joined = append(far.joined, n)
		}
	}
	for i, s := range m.Strings {
		for _, seg := range s.Segments {
			n := seg.Universe
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
	if s == "" {
		return nil, nil
	}
	set := new(listener.UniverseSet)
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
		case first < sacn.MinUniverse || last > sacn.MaxUniverse:
			return nil, fmt.Errorf("%q is outside universes %d-%d", part, sacn.MinUniverse, sacn.MaxUniverse)
		}
		for u := first; u <= last; u++ {
			set.Add(uint16(u))
		}
	}
	return set.List(), nil
}

func (far *farEnd) serve(page net.Listener) task {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", metrics.Handler(far.plan, metrics.Listener{Joined: far.joined, Read: far.l.Snapshot}))
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute}
	return func(ctx context.Context) error {
		context.AfterFunc(ctx, func() { server.Close() })
		if err := server.Serve(page); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("serving the metrics: %w", err)
		}
		return nil
	}
}
