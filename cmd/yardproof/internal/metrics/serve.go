package metrics

import (
	"context"
	"errors"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	dto "github.com/prometheus/client_model/go"
)

// Serve answers GET /metrics on ln until ctx ends.
func Serve(ctx context.Context, ln net.Listener, handler http.Handler) error {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", handler)
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, IdleTimeout: time.Minute}
	context.AfterFunc(ctx, func() { server.Close() })
	if err := server.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// Handler serves the collectors, and the Go runtime's and the process's own. Each series
// of the collectors carries the plan's name.
func Handler(plan string, list ...prometheus.Collector) http.Handler {
	own, process := prometheus.NewRegistry(), prometheus.NewRegistry()
	g := &gatherer{plan: plan, own: own, process: process}
	for _, c := range list {
		if crowd, ok := c.(crowd); ok {
			g.crowds = append(g.crowds, &split{Collector: c, crowd: crowd})
			c = g.crowds[len(g.crowds)-1]
		}
		own.MustRegister(c)
	}
	process.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return promhttp.HandlerFor(g, promhttp.HandlerOpts{Registry: process})
}

// gatherer adds a plan's name to what was gathered. A registry that wraps its collectors
// would describe each series anew for that.
type gatherer struct {
	plan         string
	own, process prometheus.Gatherer
	one          sync.Mutex // scrape at a time
	crowds       []*split
}

func (g *gatherer) Gather() ([]*dto.MetricFamily, error) {
	g.one.Lock()
	families, err := g.own.Gather()
	for _, c := range g.crowds {
		for _, s := range c.series {
			if len(s.all) > 0 {
				families = append(families, s.family())
			}
		}
		c.series = nil
	}
	g.one.Unlock()
	name := "plan"
	label := &dto.LabelPair{Name: &name, Value: &g.plan}
	for _, f := range families {
		for _, m := range f.Metric {
			at := slices.IndexFunc(m.Label, func(p *dto.LabelPair) bool { return p.GetName() > name }) // they are sorted
			if at < 0 {
				at = len(m.Label)
			}
			m.Label = slices.Insert(m.Label, at, label)
		}
	}
	others, otherErr := g.process.Gather()
	families = append(families, others...)
	slices.SortFunc(families, func(a, b *dto.MetricFamily) int { return strings.Compare(a.GetName(), b.GetName()) })
	return families, errors.Join(err, otherErr)
}
