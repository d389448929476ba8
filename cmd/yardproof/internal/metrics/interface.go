package metrics

import (
	"bufio"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
)

var (
	ifPackets = desc("interface_transmitted_packets_total", "Packets that the interface has transmitted, whoever sent them.", "interface")
	ifErrors  = desc("interface_transmit_errors_total", "Packets that the interface failed to transmit.", "interface")
	ifDrops   = desc("interface_transmit_drops_total", "Packets dropped before the interface could transmit them.", "interface")
	ifCarrier = desc("interface_carrier_errors_total", "Transmissions that failed for want of a carrier.", "interface")
)

// Interface reads the kernel's counters of a network interface, by its name.
// Where the kernel does not tell, its metrics are absent.
type Interface string

// Describe implements [prometheus.Collector].
func (Interface) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{ifPackets, ifErrors, ifDrops, ifCarrier} {
		ch <- d
	}
}

// Collect implements [prometheus.Collector].
func (i Interface) Collect(ch chan<- prometheus.Metric) {
	f, err := os.Open("/proc/self/net/dev") // of this process's own network namespace
	if err != nil {
		return
	}
	defer f.Close()
	sent, ok := transmitted(f, string(i))
	if !ok {
		return
	}
	e := emitter(ch)
	e.counter(ifPackets, sent.packets, string(i))
	e.counter(ifErrors, sent.errors, string(i))
	e.counter(ifDrops, sent.drops, string(i))
	e.counter(ifCarrier, sent.carrier, string(i))
}

type transmission struct{ packets, errors, drops, carrier uint64 }

// transmitted finds an interface in the table of proc(5): eight columns of what
// was received, then bytes, packets, errs, drop, fifo, colls, carrier, compressed.
func transmitted(r io.Reader, name string) (t transmission, ok bool) {
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		who, row, _ := strings.Cut(lines.Text(), ":")
		columns := strings.Fields(row)
		if strings.TrimSpace(who) != name || len(columns) < 16 {
			continue
		}
		for column, to := range map[int]*uint64{9: &t.packets, 10: &t.errors, 11: &t.drops, 14: &t.carrier} {
			n, err := strconv.ParseUint(columns[column], 10, 64)
			if err != nil {
				return t, false
			}
			*to = n
		}
		return t, true
	}
	return t, false
}
