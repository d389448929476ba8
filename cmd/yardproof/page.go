package main

import (
	"errors"
	"fmt"
	"net"

	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/web"
)

// listen opens the one address that serves the page.
func (t *transmitter) listen() (net.Listener, error) {
	ln, err := net.Listen("tcp", t.flags.http)
	if err != nil {
		return nil, fmt.Errorf("--http %s: %w; name another address, or stop what uses this one", t.flags.http, err)
	}
	return ln, nil
}

// openPage makes the page and says how to open it.
func (t *transmitter) openPage(ln net.Listener) (*web.Server, error) {
	at, _ := ln.Addr().(*net.TCPAddr)
	local := at != nil && at.IP.IsLoopback()
	page, err := web.New(web.Config{
		Session: t.session, State: t.state.Path("."), Loopback: local, HostNames: t.flags.hostNames,
		Metrics: metrics.Handler(t.plan.Name, append(t.collectors, metrics.Transmitter{
			Version: version, Commit: commit(), Rate: t.rate(), Stats: t.source.Stats, Session: t.session,
		}, metrics.SurroundingsCollector(t.around.snapshot), metrics.Interface(t.flags.iface))...),
		MetricsOpen: t.flags.metricsOpen,
		Ready: func() error {
			select {
			case <-t.source.Started():
				return nil
			default:
				return errors.New("no frame has gone out yet")
			}
		},
		Health: t.history.Recent, LastDay: t.history.Handler(t.plan.Name), Record: t.record, Says: t.says, Looked: t.looked,
		Version: version, Log: t.log,
	})
	if err != nil {
		return nil, err
	}
	base, err := web.Announce(t.state.Path("."), ln.Addr())
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(t.std.err, "page and metrics at %s/\n", base)
	if local {
		return page, nil
	}
	link, err := web.NewLink(t.state.Path("."))
	if err != nil {
		return nil, err
	}
	return page, printLink(stdio{t.std.err, t.std.err}, link)
}
