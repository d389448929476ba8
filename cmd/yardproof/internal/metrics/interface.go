package metrics

import (
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/procfs"
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
	self, err := procfs.Self() // this process's own network namespace
	if err != nil {
		return
	}
	all, err := self.NetDev()
	if err != nil {
		return
	}
	sent, ok := all[string(i)]
	if !ok {
		return
	}
	e := emitter(ch)
	e.counter(ifPackets, sent.TxPackets, string(i))
	e.counter(ifErrors, sent.TxErrors, string(i))
	e.counter(ifDrops, sent.TxDropped, string(i))
	e.counter(ifCarrier, sent.TxCarrier, string(i))
}
