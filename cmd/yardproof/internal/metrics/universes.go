package metrics

import (
	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// perUniverse is a counter with a series for each universe. At ten thousand of them the
// series are made side by side: as metrics of the library, each on its own, checked and
// sorted anew, they are most of what a scrape costs.
type perUniverse struct {
	*prometheus.Desc
	name, help string
	labels     []string
}

// eachUniverse declares one; its labels are sorted.
func eachUniverse(name, help string, labels ...string) perUniverse {
	return perUniverse{desc(name, help, labels...), "yardproof_" + name, help, labels}
}

// series is a family that is being filled.
type series struct {
	of      perUniverse
	all     []*dto.Metric
	metrics []dto.Metric
	values  []float64
	counts  []dto.Counter
	pairs   []dto.LabelPair
}

// series makes room for n.
func (p perUniverse) series(n int) *series {
	return &series{
		p, make([]*dto.Metric, 0, n), make([]dto.Metric, n), make([]float64, n), make([]dto.Counter, n), make([]dto.LabelPair, n*len(p.labels)),
	}
}

// add adds a series with the values of its labels.
func (s *series) add(v uint64, labels ...string) {
	i := len(s.all)
	s.values[i] = float64(v)
	s.counts[i].Value = &s.values[i]
	m := &s.metrics[i]
	m.Counter, m.Label = &s.counts[i], make([]*dto.LabelPair, len(labels), len(labels)+1) // the plan's comes to it
	for k := range labels {
		pair := &s.pairs[i*len(labels)+k]
		pair.Name, pair.Value = &s.of.labels[k], &labels[k]
		m.Label[k] = pair
	}
	s.all = append(s.all, m)
}

func (s *series) family() *dto.MetricFamily {
	return &dto.MetricFamily{Name: &s.of.name, Help: &s.of.help, Type: dto.MetricType_COUNTER.Enum(), Metric: s.all}
}

// crowd is a collector that has counters per universe beside its other metrics.
type crowd interface {
	collect(chan<- prometheus.Metric) []*series
}

// split is a crowd as the library sees it: without those counters, which it keeps.
type split struct {
	prometheus.Collector
	crowd  crowd
	series []*series
}

func (s *split) Collect(ch chan<- prometheus.Metric) { s.series = s.crowd.collect(ch) }
