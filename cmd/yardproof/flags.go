package main

import (
	"io"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/transmit"
)

const stateUsage = "the state `directory` of the transmitter (default: as for run; under systemd /var/lib/yardproof)"

// transmitFlags are what every command that sends has in common.
type transmitFlags struct {
	iface     string
	rate      float64
	allowFast bool
	http      string
	state     string
	length    time.Duration
	noScan    bool
	sameCID   bool
	watch     string
	send      string
	realtime  bool

	hostNames   []string
	metricsOpen bool
	tls         transmit.KeyPair
	controllers []string

	throwaway bool // nobody needs the state afterwards
}

func (f *transmitFlags) define(fs *pflag.FlagSet) {
	fs.StringVar(&f.iface, "interface", "", "the network `interface` to send from, such as eth0 (default: the plan's)")
	fs.Float64Var(&f.rate, "rate", 0, "frames a second, `HZ` (default: the plan's, else 40)")
	fs.BoolVar(&f.allowFast, "above-refresh-limit", false, "allow a rate above 44 Hz, the most that E1.11 can refresh with 512 slots")
	fs.StringVar(&f.http, "http", "127.0.0.1:9531", "the one `address` that serves the page and the metrics")
	fs.StringSliceVar(&f.hostNames, "host-name", nil, "extra host `names` that the page answers to, a,b; or repeat the flag")
	fs.StringVar(&f.tls.Certificate, "tls-cert", "", "serve page and metrics by HTTPS, where the network is not trusted: a certificate `file` (PEM), read again at a reload")
	fs.StringVar(&f.tls.Key, "tls-key", "", "the `file` with the key of --tls-cert (PEM)")
	fs.BoolVar(&f.metricsOpen, "metrics-open", false, "serve /metrics to everybody, not only to phones that were let in")
	fs.StringVar(&f.state, "state", "", "the state `directory` (default: $STATE_DIRECTORY, $XDG_STATE_HOME/yardproof or ~/.local/state/yardproof)")
	fs.DurationVar(&f.length, "for", 0, "stop after, e.g. 30s (default: until Ctrl-C)")
	fs.BoolVar(&f.noScan, "no-scan", false, "do not search for other sources, before the first frame or later")
	cli.Renamed(fs, "no-look", "no-scan")
	fs.BoolVar(&f.sameCID, "same-cid", false, "send even though another machine sends these universes under our sender number (CID): its state directory was copied")
	cli.Renamed(fs, "controllers", "only-controllers")
	fs.StringSliceVar(&f.controllers, "only-controllers", nil, "send only the universes of these `controllers`, a,b; other transmitters send the rest of the plan")
	fs.StringVar(&f.watch, "watch", "", "hear our own stream on this other `interface`, wired to the far end, to measure what the network loses")
	fs.StringVar(&f.send, "send", "socket", "the `way` in which multicast is sent: socket or packet. packet is for thousands of universes: Linux only, needs CAP_NET_RAW, and programs on this computer do not hear it")
	fs.BoolVar(&f.realtime, "realtime", false, "send before all other work of this computer (SCHED_FIFO), where that is permitted")
}

// check rejects invalid flags.
func (f *transmitFlags) check(fs *pflag.FlagSet) error {
	if fs.Changed("for") && f.length <= 0 {
		return cli.Usagef("--for %v: it must be above 0", f.length)
	}
	if fs.Changed("rate") && f.rate == 0 {
		return cli.Usagef("--rate 0: it must be above 0")
	}
	if f.send != "socket" && f.send != "packet" {
		return cli.Hint(cli.Usagef("--send %q is not a way to send", f.send), "write --send socket or --send packet")
	}
	if (f.tls.Certificate == "") != (f.tls.Key == "") {
		return cli.Usagef("--tls-cert and --tls-key go together: give both, or neither")
	}
	for _, name := range f.hostNames {
		if name == "" || strings.ContainsAny(name, " /:@") {
			return cli.Usagef("--host-name %q is not a host name", name)
		}
	}
	return cli.CheckAddress("http", f.http)
}

// config is what the flags say of sending a plan.
func (f *transmitFlags) config(talk io.Writer, load func() (planfile.Checked, error)) (transmit.Config, error) {
	place := ""
	if !f.throwaway {
		var err error
		if place, err = state.Place(f.state); err != nil {
			return transmit.Config{}, err
		}
	}
	return transmit.Config{
		Load: func() (planfile.Checked, error) {
			c, err := load()
			if err != nil {
				return c, err
			}
			return c.Part(f.controllers), nil
		},
		Interface: f.iface, Rate: f.rate, AllowFast: f.allowFast, For: f.length,
		NoScan: f.noScan, SameCID: f.sameCID, WatchOn: f.watch, State: place,
		Packet: f.send == "packet", Realtime: f.realtime,
		HTTP: f.http, HostNames: f.hostNames, MetricsOpen: f.metricsOpen, TLS: f.tls,
		Version: version, Commit: program.Commit(), Talk: talk, Log: cli.NewLogger(talk),
	}, nil
}
