package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"yardproof/cmd/yardproof/internal/burnin"
)

var (
	burnState    = desc("burnin_state", "What the burn-in is doing: 1 for the state it is in.", "state")
	burnStep     = desc("burnin_step_info", "Always 1 while a step of the programme is shown; the label is its pattern.", "pattern")
	burnTarget   = desc("burnin_target_seconds", "Time that each string is to be served.")
	burnServed   = desc("burnin_served_seconds", "Time that every chosen string has been served.")
	burnChosen   = desc("burnin_strings", "Strings chosen for the burn-in.")
	burnDone     = desc("burnin_strings_done", "Chosen strings that have been served their time.")
	burnCycles   = desc("burnin_cycles_total", "Cycles of the programme that are over, restarts included.")
	burnLooks    = desc("burnin_looks_total", "Looks that somebody took at the display.")
	burnLooked   = desc("burnin_last_look_timestamp_seconds", "When somebody last looked; absent before.")
	burnStarts   = desc("burnin_starts_total", "Starts of the program in this burn-in.")
	burnKept     = desc("burnin_kept", "1 while what was served is on disk, but for the last minute; 0 while the disk does not take it.")
	burnOutage   = desc("burnin_outage_seconds_total", "Time without any packet in silences of over 2.5 s, restarts included: none arrived where the far end is heard, else none was taken. Absent for a universe that had none.", "universe", "destination")
	burnSilent   = desc("burnin_silent_universes", "Universes of the chosen strings that have had no packet for over 2.5 s.")
	burnLateness = desc("burnin_worst_lateness_seconds", "No frame of the burn-in was later than this, restarts included.")
)

// BurnInCollector reads the burn-in at each scrape.
type BurnInCollector func() burnin.Report

// Describe implements [prometheus.Collector].
func (BurnInCollector) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{
		burnState, burnStep, burnTarget, burnServed, burnChosen, burnDone, burnCycles, burnLooks, burnLooked, burnStarts, burnKept, burnOutage, burnSilent, burnLateness,
	} {
		ch <- d
	}
}

// Collect implements [prometheus.Collector].
func (read BurnInCollector) Collect(ch chan<- prometheus.Metric) {
	e := emitter(ch)
	r := read()
	for _, s := range burnin.States() {
		e.gauge(burnState, boolean(r.State == s), string(s))
	}
	if r.Step.Pattern != "" {
		e.gauge(burnStep, 1, r.Step.Pattern)
	}
	e.gauge(burnTarget, r.Target.Seconds())
	e.gauge(burnServed, r.Least.Seconds())
	e.gauge(burnChosen, float64(len(r.Chosen)))
	e.gauge(burnDone, float64(r.Done))
	e.counter(burnCycles, uint64(r.Cycles))
	e.counter(burnLooks, uint64(r.Looks))
	e.counter(burnStarts, uint64(r.Starts))
	e.gauge(burnKept, boolean(r.Unkept == ""))
	for _, u := range r.Universes {
		if u.Outage > 0 { // else a large yard has a fourth series for each
			ch <- prometheus.MustNewConstMetric(burnOutage, prometheus.CounterValue, time.Duration(u.Outage).Seconds(), number(u.Universe), destination(u.Unicast))
		}
	}
	e.gauge(burnSilent, float64(len(r.Silent)))
	e.gauge(burnLateness, time.Duration(r.WorstLateness).Seconds())
	if !r.LastLook.IsZero() {
		e.gauge(burnLooked, float64(r.LastLook.UnixMilli())/1000)
	}
}
