package transmit

import (
	"errors"
	"net"
	"slices"

	"github.com/prometheus/client_golang/prometheus"

	"yardproof/cmd/yardproof/internal/hold"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/opening"
	"yardproof/cmd/yardproof/internal/terminal"
	"yardproof/cmd/yardproof/internal/web"
	"yardproof/config"
	"yardproof/config/protection"
)

// openPage makes the page and says how to open it.
func (t *Transmitter) openPage(ln net.Listener, programme *Programme) (*web.Server, error) {
	dir, err := t.pageState()
	if err != nil {
		return nil, err
	}
	at, _ := ln.Addr().(*net.TCPAddr)
	local := at != nil && at.IP.IsLoopback()
	collectors := []prometheus.Collector{
		metrics.Transmitter{Version: t.cfg.Version, Commit: t.cfg.Commit, Rate: t.cfg.Rate, Stats: t.source.Stats, Streams: t.source.Streams, Session: t.session, Record: t.record.Problem},
		metrics.SurroundingsCollector(t.around.Snapshot),
		metrics.Interface(t.cfg.Interface),
	}
	cfg := web.Config{
		Session: t.session, State: dir, Loopback: local, HostNames: t.cfg.HostNames, MetricsOpen: t.cfg.MetricsOpen,
		Ready: t.ready, Health: t.history.Recent, LastDay: t.history.Handler(t.plan.Name, t.holdNote), Record: t.record, Bench: t.cfg.Bench, Competing: t.around.Competing, Kept: t.holds.Kept, Protection: t.protection, Propose: t.propose,
		Rehearsal: t.cfg.Rehearsal, Version: t.cfg.Version, Log: t.cfg.Log,
	}
	if by := t.certificate.Load(); by != nil {
		cfg.Certificate, cfg.HostNames = t.certificate.Load, slices.Concat(cfg.HostNames, by.Leaf.DNSNames)
	}
	if t.cfg.Rehearsal != nil {
		cfg.Competing = t.cfg.Rehearsal.Competing
	}
	if t.cfg.Bench == nil {
		cfg.Opening = opening.Handler(t.openingFacts)
	}
	if programme != nil {
		cfg.Looked = programme.Looked
		cfg.Says = func() string {
			if why := t.waiting.Load(); why != nil {
				return "nothing is sent, waiting for the interface: " + *why
			}
			return programme.Says()
		}
		collectors = append(collectors, programme.Collector)
	}
	cfg.Metrics = metrics.Handler(t.plan.Name, collectors...)
	page, err := web.New(cfg)
	if err != nil {
		return nil, err
	}
	base, err := web.Announce(dir, ln.Addr(), t.certificate.Load())
	if err != nil {
		return nil, err
	}
	t.say("page and metrics at %s/", base)
	if t.cfg.Rehearsal != nil {
		t.say("rehearsal: nothing here is real; the yard is drawn at %s/rehearsal/", base)
	}
	switch {
	case local:
		return page, nil
	case !terminal.Is(t.cfg.Talk): // whoever reads a journal or a log file may open the page by it
		t.say("a link that lets a phone in is made by: yardproof link --state %s", dir)
		return page, nil
	}
	link, err := web.NewLink(dir, "")
	if err != nil {
		return nil, err
	}
	return page, web.PrintLink(t.cfg.Talk, t.cfg.Talk, link)
}

// protection is what was found of a plan's fuses and wires; nil: it is another plan by now.
func (t *Transmitter) protection(plan *config.Plan) *protection.Report {
	if c := t.checked.Load(); c != nil && c.Plan == plan {
		return c.Protection
	}
	return nil
}

// holdNote says who holds the display; "" when nobody does.
func (t *Transmitter) holdNote() string {
	if h := t.session.Snapshot().Hold; h != nil {
		return "Now " + hold.Describe(h) + "."
	}
	return ""
}

// ready tells why no frame has gone out, if none has.
func (t *Transmitter) ready() error {
	select {
	case <-t.source.Started():
		return nil
	default:
		return errors.New("no frame has gone out yet")
	}
}
