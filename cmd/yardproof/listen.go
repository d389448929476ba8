package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/spf13/pflag"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/farend"
	"yardproof/cmd/yardproof/internal/metrics"
	"yardproof/cmd/yardproof/internal/planfile"
	"yardproof/cmd/yardproof/internal/program"
	"yardproof/cmd/yardproof/internal/tasks"
	"yardproof/cmd/yardproof/internal/terminal"
	"yardproof/cmd/yardproof/internal/textout"
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

func listenCommand() program.Command {
	return program.Command{
		Name: "listen",
		Does: "Listen at the far end: join universes, and say what arrives, from whom, and what is missing",
		Define: func(fs *pflag.FlagSet) program.Run {
			var f listenFlags
			fs.StringVar(&f.iface, "interface", "", "the network `interface` to listen on, such as eth0")
			fs.StringVar(&f.universes, "universes", "", "the `universes` to join: 1-40,100 (default: the plan's; without a plan, announcements alone)")
			fs.StringVar(&f.plan, "plan", "", "a plan `file`: what is missing is named with its strings")
			fs.DurationVar(&f.length, "for", 0, "stop after, e.g. 30s (default: until Ctrl-C)")
			fs.StringVar(&f.format, "format", "text", "the `format`: text or json")
			fs.StringVar(&f.http, "http", "", "an `address` that serves the metrics (default: none)")
			fs.BoolVar(&f.ipv6, "ipv6", false, "listen over IPv6 (default: as the plan says, else IPv4)")
			return program.NoArgs(f.run)
		},
	}
}

func (f *listenFlags) run(ctx context.Context, std program.Stdio) error {
	if err := cli.Format(f.format, "text", "json"); err != nil {
		return err
	}
	if f.length < 0 {
		return cli.Usagef("--for %v: it must be above 0", f.length)
	}
	expected, plan, err := f.expect(std)
	if err != nil {
		return err
	}
	size, live := terminal.Size(std.Out)
	live = live && f.format == "text"
	cfg := listener.Config{Interface: f.iface, IPv6: f.ipv6, Universes: expected.Universes, Log: cli.NewLogger(std.Err)}
	if live {
		cfg.Log = slog.New(slog.DiscardHandler) // the table says the same, and log lines would tear it
	}
	l, err := listener.Open(cfg)
	if err != nil {
		if _, ok := errors.AsType[*listener.InterfaceError](err); ok {
			return cli.Usagef("--interface: %w", err)
		}
		return err
	}
	far := farend.New(l.Snapshot, expected)
	if f.length > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, f.length)
		defer cancel()
	}
	list := []tasks.Task{{Name: "listening", Run: l.Run}}
	if f.http != "" {
		page, err := cli.Listen("http", f.http)
		if err != nil {
			return err
		}
		fmt.Fprintf(std.Err, "metrics at http://%s/metrics\n", page.Addr())
		handler := metrics.Handler(plan, metrics.Listener{Joined: expected.Universes, Read: l.Snapshot})
		list = append(list, tasks.Task{Name: "serving the metrics", Run: func(ctx context.Context) error { return metrics.Serve(ctx, page, handler) }})
	}
	switch {
	case live:
		list = append(list, tasks.Task{Name: "drawing the table", Run: func(ctx context.Context) error { return far.Table(ctx, std.Out, size) }})
	case f.format == "text":
		list = append(list, tasks.Task{Name: "writing lines", Run: func(ctx context.Context) error { return far.Lines(ctx, std.Out) }})
	}
	if err := tasks.Run(ctx, list...); err != nil {
		return err
	}
	answer := far.Answer()
	if f.format == "json" {
		err = textout.JSON(std.Out, answer)
	} else {
		err = answer.Print(std.Out)
	}
	if err == nil && len(answer.Findings) > 0 {
		return cli.ErrFound
	}
	return err
}

// expect returns what should be heard: of the plan, if there is one.
func (f *listenFlags) expect(std program.Stdio) (farend.Expected, string, error) {
	asked, err := farend.ParseUniverses(f.universes)
	if err != nil {
		return farend.Expected{}, "", cli.Usagef("--universes: %w", err)
	}
	if f.plan == "" {
		return farend.Expected{Universes: asked}, "", nil
	}
	c, err := planfile.Read(f.plan)
	if err != nil {
		return farend.Expected{}, "", err
	}
	if n := c.Errors(); n > 0 {
		c.Print(std.Err)
		return farend.Expected{}, "", fmt.Errorf("%s has %s: fix them first", f.plan, textout.Count(n, "error"))
	}
	f.ipv6 = f.ipv6 || c.Plan.Network.IPv6
	return farend.Expect(c.Plan, asked, listener.Addresses()), c.Plan.Name, nil
}
