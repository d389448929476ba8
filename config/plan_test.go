package config

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/netip"
	"os"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"go.yaml.in/yaml/v3"
)

func loadStreet(t *testing.T) (*Plan, []byte) {
	t.Helper()
	text, err := os.ReadFile("../testdata/plans/street.yaml")
	if err != nil {
		t.Fatal(err)
	}
	p, problems := Load("p", bytes.NewReader(text))
	for _, problem := range problems {
		if problem.Severity == Error {
			t.Error(problem)
		}
	}
	return p, text
}

// TestEveryKey checks that each key of a plan lands where it belongs.
func TestEveryKey(t *testing.T) {
	p, _ := loadStreet(t)
	clearMarks(reflect.ValueOf(p), map[any]bool{})
	for _, c := range []struct {
		what      string
		got, want any
	}{
		{"name", p.Name, "Harbour Street, every key"},
		{"source", p.Source, Source{Name: "quay laptop", Priority: 120}},
		{"network", p.Network, Network{Interface: "eth0", Rate: 40, SyncUniverse: 900, Spread: 0.6, UsedSlots: true, TTL: 4}},
		{"temperature", p.Temperature, 35.0},
		{"meter", p.Meter, Meter{Share: 0.025, Fixed: 0.05}},
		{"bandstand", *p.Controllers[0], Controller{Name: "bandstand", Pack: PackWhole, OnLoss: OnLossDark, MaxAmps: 20, MaxPixelsPerPort: 600, Ports: 4, MaxUniverses: 8, Spot: Spot{2, 1}}},
		{"boathouse", *p.Controllers[1], Controller{Name: "boathouse", Address: netip.MustParseAddr("192.0.2.10"), Pack: PackContinuous, OnLoss: OnLossHolds}},
		{"bandstand-a", *p.Supplies[0], Supply{Name: "bandstand-a", Volts: 12, Watts: 350, ContinuousShare: 0.8, Spot: Spot{2, 0.5}, Enclosure: p.Enclosures[0]}},
		{"quay-box", *p.Feeders[0], Feeder{Name: "quay-box", Supply: p.Supplies[1], Wire: Wire{MM2: 6, Metres: 6, Metal: Copper}, FuseAmps: 25, FuseContinuousShare: 0.7, ConnectorAmps: 30, Spot: Spot{31, 4}, Temperature: new(45.0)}},
		{"rail", *p.Strings[1], String{
			Index: 1, Name: "rail", Label: "B1", Controller: p.Controllers[1], Port: "3b", Receiver: "1", Output: "2",
			Universe: 1, Channel: 10, Pixels: 190, NullPixels: 2, Order: "GRB",
			Chip:  Chip{Name: "ws2811", BitsPerSecond: 400e3, BitsPerPixel: 24, Reset: 50 * time.Microsecond, DropoutVolts: 10},
			Volts: 12, AmpsPerPixel: 0.045, IdleAmpsPerPixel: -1,
			Pitch:            Wire{Milliohms: 22, Metres: 0.1, Metal: Copper},
			Jumpers:          []Jumper{{After: 95, Wire: Wire{Milliohms: 22, Metres: 4, Metal: Copper}}},
			CutPositiveAfter: []int{140},
			Feeds: []*Feed{
				{Address: 1, At: "start", Supply: p.Supplies[1], Feeder: p.Feeders[0], Wire: Wire{AWG: 14, HasAWG: true, Metres: 1, Metal: Copper}, FuseAmps: 5, FuseContinuousShare: 0.75},
				{Address: 97, At: "95", Supply: p.Supplies[1], Feeder: p.Feeders[0], Wire: Wire{AWG: 14, HasAWG: true, Metres: 12, Metal: Copper}, FuseAmps: 5, FuseContinuousShare: 0.75},
				{Address: 192, At: "end", Supply: p.Supplies[2], Wire: Wire{AWG: 12, HasAWG: true, Metres: 4, Metal: CCA}, FuseAmps: 5, FuseContinuousShare: 0.75},
			},
			Brightness: 0.7, Gamma: 2.2, Copies: 1, Fold: 10, Flow: Backward, NullsByPlan: true,
		}},
		{"lantern", *p.Strings[3], String{
			Index: 3, Name: "lantern", Controller: p.Controllers[2], Port: "2", Universe: 3, Channel: 1, Pixels: 20, Order: "RGB",
			Chip: Chip{Name: "sk6812-rgbw"}, Volts: 5, Load: LoadCurrent, IdleAmpsPerPixel: -1,
			Pitch:     Wire{AWG: 20, HasAWG: true, Metres: 0.05, Metal: Copper},
			Feeds:     []*Feed{{Address: 1, At: "start", Supply: p.Supplies[3], Wire: Wire{Metal: Copper}, FuseAmps: 3, FuseContinuousShare: 0.75}},
			PortOrder: "GRBW", Brightness: 1, Gamma: 1, Copies: 2, Flow: Forward, WhiteDerived: true,
		}},
		{"stock", p.Stock, Stock{
			Wire: []StockWire{{Wire: Wire{AWG: 16, HasAWG: true, Metal: Copper}, Price: 0.9, Have: 40}, {Wire: Wire{MM2: 2.5, Metal: Copper}, Price: 1.4},
				{Wire: Wire{Milliohms: 8.5, Metal: Copper}, Price: 1.1}},
			Fuses:     []StockFuse{{Amps: 5, Price: 0.4, Have: 20}, {Amps: 7.5, Price: 0.4}},
			Supplies:  []StockSupply{{Volts: 12, Watts: 350, Price: 38, Have: 1}},
			Connector: StockConnector{Price: 1.2, Have: 10}, Pixels: []StockPixels{{Chip: "ws2811", Have: 10}},
		}},
		{"roof's places", [3]any{p.Strings[0].Spot, p.Strings[0].EndSpot, p.Strings[0].FeedPoints}, [3]any{Spot{3, 1}, Spot{12, 6}, []int{50, 100}}},
		{"mains", *p.Mains[0], Mains{Name: "green-hut", Volts: 230, BreakerAmps: 16, Curve: "C", RCD: 30, Supplies: []*Supply{p.Supplies[0], p.Supplies[4]}}},
		{"enclosure", *p.Enclosures[0], Enclosure{Name: "bandstand-box", Area: 0.52, Material: Plastic, Temperature: new(30.0), Supplies: []*Supply{p.Supplies[0]}, Controllers: []*Controller{p.Controllers[0]}, Watts: 5}},
		{"reserved", p.Reserved, []ReservedChannels{{Universe: 7, First: 1, Last: 12, What: "fog blower"}, {Universe: 4, First: 512, Last: 512, Value: 255, What: "relay of the bell"}}},
		{"burn_in", p.BurnIn, BurnIn{Hours: 36.5, Between: Window{16 * 60, 22 * 60}, Programme: []Step{
			{Pattern: "walk", Level: 1, Duration: 20 * time.Minute}, {Pattern: "full-white", Level: 0.6, Duration: 10 * time.Minute}, {Pattern: "dark", Level: 1, Duration: 30 * time.Second}}}},
	} {
		if !reflect.DeepEqual(c.got, c.want) {
			t.Errorf("%s:\ngot  %+v\nwant %+v", c.what, c.got, c.want)
		}
	}
}

// TestJSONIsTheSamePlan checks that a plan means the same in either notation.
func TestJSONIsTheSamePlan(t *testing.T) {
	want, text := loadStreet(t)
	var v any
	if err := yaml.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	asJSON, err := json.MarshalIndent(v, "", "\t")
	if err != nil {
		t.Fatal(err)
	}
	got, problems := Load("p", bytes.NewReader(asJSON))
	for _, p := range problems {
		if p.Severity == Error {
			t.Fatal(p)
		}
	}
	clearMarks(reflect.ValueOf(got), map[any]bool{})
	clearMarks(reflect.ValueOf(want), map[any]bool{})
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

// TestShortestPlan checks the defaults that a quick plan rests on.
func TestShortestPlan(t *testing.T) {
	p, problems := Load("p", strings.NewReader("strings: [{name: gable, universe: 7, pixels: 50}]"))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	quick, problems := OneString(One{Universe: 7, Pixels: 50})
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	quick.Strings[0].Name, quick.File = "gable", "p"
	clearMarks(reflect.ValueOf(p), map[any]bool{})
	clearMarks(reflect.ValueOf(quick), map[any]bool{})
	if !reflect.DeepEqual(p.Strings[0], quick.Strings[0]) || !reflect.DeepEqual(p.Network, quick.Network) {
		t.Errorf("the quick plan is\n%+v\nthe shortest file is\n%+v", quick.Strings[0], p.Strings[0])
	}
	if want := (Network{Rate: 40, Spread: 0.5, TTL: 1}); !reflect.DeepEqual(p.Network, want) {
		t.Errorf("network %+v, want %+v", p.Network, want)
	}
}

// clearMarks forgets where things stood.
func clearMarks(v reflect.Value, seen map[any]bool) {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() || seen[v.Interface()] {
			return
		}
		seen[v.Interface()] = true
		clearMarks(v.Elem(), seen)
	case reflect.Slice:
		for i := range v.Len() {
			clearMarks(v.Index(i), seen)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Field(i).Type() == reflect.TypeFor[Marks]() {
				v.Field(i).SetZero()
			} else if v.Type().Field(i).IsExported() {
				clearMarks(v.Field(i), seen)
			}
		}
	}
}

// TestUnits checks that a figure with its unit is the figure alone. A foot is
// 0.3048 m and an inch 0.0254 m (international yard and pound agreement, 1959).
func TestUnits(t *testing.T) {
	text := func(fuse, share, lead, pitch, volts, minutes string) string {
		return fmt.Sprintf("supplies: [{name: a, volts: %s, watts: 350}]\nburn_in: {programme: [{pattern: walk, minutes: %s}]}\n"+
			"strings: [{name: gable, universe: 1, pixels: 50, supply: a, fuse_amps: %s, fuse_use: %s, data_lead: %s, pitch: {awg: 20, %s}}]", volts, minutes, fuse, share, lead, pitch)
	}
	for _, c := range []struct{ alone, written string }{
		{text("5", "0.6", "3", "millimetres: 76", "12", "90"), text("5A", "60 %", "3 m", "millimetres: 76 mm", "12 V", "1.5h")},
		{text("0.5", "60%", "0.5", "metres: 0.1", "12", "0.5"), text("500 mA", "60%", "50 cm", "metres: 0.1 m", "12v", "30 s")},
		{text("5", "60%", "3.048", "metres: 0.3048", "12", "5"), text("5", "60%", "10 ft", "feet: 1", "12", "5 min")},
		{text("5", "60%", "0.254", "metres: 0.381", "12", "5"), text("5", "60%", "10in", "feet: 1 ft, inches: 3 in", "12", "5")},
	} {
		want, problems := Load("p", strings.NewReader(c.alone))
		got, more := Load("p", strings.NewReader(c.written))
		if len(problems)+len(more) > 0 {
			t.Fatal(problems, more)
		}
		clearMarks(reflect.ValueOf(got), map[any]bool{})
		clearMarks(reflect.ValueOf(want), map[any]bool{})
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s:\ngot  %+v\nwant %+v", c.written, got.Strings[0], want.Strings[0])
		}
	}
}

// TestKeys checks that every key says what it does, and that the demonstration's
// keys are among them, wherever they stand.
func TestKeys(t *testing.T) {
	var check func(path string, keys []*Key)
	check = func(path string, keys []*Key) {
		seen := map[string]bool{}
		for _, k := range keys {
			if k.Does == "" || k.Kind == "" || strings.HasSuffix(k.Does, ".") || seen[k.Name] {
				t.Errorf("%s%s: %+v", path, k.Name, k)
			}
			if (k.Kind == KeySection || k.Kind == KeyList) && len(k.Keys) == 0 {
				t.Errorf("%s%s has no keys", path, k.Name)
			}
			seen[k.Name] = true
			check(path+k.Name+".", k.Keys)
		}
	}
	check("", Keys())
	var doc any
	if err := yaml.Unmarshal(demo, &doc); err != nil {
		t.Fatal(err)
	}
	var walk func(v any, keys []*Key)
	walk = func(v any, keys []*Key) {
		switch v := v.(type) {
		case []any:
			for _, item := range v {
				walk(item, keys)
			}
		case map[string]any:
			for name, value := range v {
				i := slices.IndexFunc(keys, func(k *Key) bool { return k.Name == name })
				if i < 0 {
					t.Fatalf("the demonstration's key %s is not among the keys", name)
				}
				walk(value, keys[i].Keys)
			}
		}
	}
	walk(doc, Keys())
}
