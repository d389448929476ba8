package main

import (
	"context"
	"fmt"
	"time"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/opening"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/config"
	"yardproof/sacn/listener"
)

// listenFor shows every steady source, as the search before the first frame does, and
// that somebody has ended: a stream is lost after 2.5 s (E1.31 clause 6.7.1).
const listenFor = 3 * time.Second

// runOpening prints the sheet for opening night: what the record knows, and what is
// heard now.
func runOpening(ctx context.Context, std stdio, stateDir, format, since, iface string, args []string) error {
	switch {
	case format != "text" && format != "html":
		return cli.Usagef("--format %q: the sheet for opening night is text or html", format)
	case since != "":
		return cli.Usagef("--since is not for --opening: what was proved counts, however long ago")
	case len(args) != 1:
		return cli.Usagef("--opening needs one plan file: it tells what is unproved")
	}
	dir, err := state.ExistingPlace(stateDir)
	if err != nil {
		return err
	}
	c, err := planfile.Read(args[0])
	if err != nil {
		return err
	}
	if n := c.Errors(); n > 0 {
		c.Print(std.err)
		return fmt.Errorf("there is no sheet while the plan has an error: %w", cli.ErrFound)
	}
	source, err := record.OpenReader(dir)
	if err != nil {
		return err
	}
	defer source.Close()
	var index record.Index
	for _, l := range source.Lines() {
		index.Add(l)
	}
	if err := source.Err(); err != nil {
		return err
	}
	f := opening.Facts{
		Plan: c.Plan, Budget: c.Budget, Standings: index.Standings(), Burned: burned(dir, c.Plan), Now: time.Now(), Zone: time.Local,
		Seen: func(controller string) string {
			seen, _ := index.Seen(controller, config.SeenOnLoss()...)
			return seen
		},
	}
	universes := opening.Universes(c.Plan)
	if state.Running(dir) {
		f.Sending = universes
	} else {
		f.Ended = opening.ReadEnded(dir)
	}
	if iface != "" {
		if f.Heard, err = hear(ctx, iface, dir, c.Plan, universes); err != nil {
			return err
		}
	}
	sheet := opening.New(f)
	if format == "html" {
		err = sheet.HTML(std.out)
	} else {
		err = sheet.Text(std.out)
	}
	if err == nil && sheet.State == opening.NoGo {
		err = cli.ErrFound
	}
	return err
}

// hear listens for a while for who sends on a plan's universes, and whether this
// program is one of them.
func hear(ctx context.Context, iface, dir string, plan *config.Plan, universes []uint16) (*opening.Heard, error) {
	own, known := state.KnownCID(dir)
	h := &opening.Heard{Where: iface}
	if !known {
		h.NotOwn = "the state directory has no CID that can be read"
	}
	r, err := listener.Scan(ctx, listener.WatchConfig{Interface: iface, IPv6: plan.Network.IPv6, Universes: universes, Own: own}, listenFor)
	if err != nil {
		return nil, err
	}
	for _, s := range r.Competing {
		if known && s.SameCID {
			h.Own = append(h.Own, s.Universe)
		} else {
			h.Others = append(h.Others, s)
		}
	}
	return h, nil
}

// burned is what a burn-in of a plan left in a state directory.
func burned(dir string, plan *config.Plan) opening.Burned {
	p := burnin.Kept(dir, plan)
	b := opening.Burned{Served: map[string]opening.Served{}, Looks: p.Looks, LastLook: p.LastLook}
	for name, s := range p.Strings {
		b.Served[name] = opening.Served{Label: s.Label, For: time.Duration(s.Served)}
	}
	return b
}
