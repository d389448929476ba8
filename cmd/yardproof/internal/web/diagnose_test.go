package web

import (
	"net/http"
	"strings"
	"testing"
	"time"
)

func TestDiagnose(t *testing.T) {
	y := newYard(t, nil)
	y.frames(time.Second)
	y.do(t, "POST", "/api/show", `{"pattern":"full-white","strings":["gable-left"],"level_percent":100}`)
	for _, test := range []struct{ body, want string }{
		// TRADE's check value: the port set to GRB, seen BRG: set it to RBG.
		{`{"string":"gable-left","seen":"BRG","port_set":"GRB"}`, `"orders":["RBG"`},
		{`{"string":"gable-left","runs":"GG.RRR.BBBB.....GG.RRR"}`, "green"},
		{`{"string":"gable-left","last_lit":12,"tail":"frozen"}`, "the data is broken"},
		{`{"string":"gable-left","half":{"good":0,"dark":0}}`, `"next_pixel":25`},
		{`{"string":"gable-left","half":{"good":0,"dark":51},"pixel":25,"lit":true}`, `"search":{"good":25,"dark":51}`},
		{`{"string":"gable-left","half":{"good":36,"dark":38},"pixel":37,"lit":false}`, "between pixel 36"},
		{`{"answered":{"gable-left":"gable-right","gable-right":"gable-left"}}`, `"plan_lines":[`},
		{`{"dark":["gable-left","gable-right"]}`, `"shared":[`},
		{`{"string":"gable-left","amps":2.75}`, "alike"},
		{`{"string":"gable-left","amps":0,"feed":"start"}`, "next to nothing"},
		{`{"string":"gable-left","amps":1.9,"dark_amps":0.05,"meter":"2% + 0.05 A"}`, "too low by"},
		{`{"string":"gable-left","volts":[{"at":"supply","volts":12.1},{"at":"pixel 1","volts":9.5}]}`, "more than expected are lost"},
		{`{"batches":true}`, "No good proof"},
		{`{"string":"gable-left","scan":[{"value":12}]}`, `"next":{"first":1,`},
	} {
		got := y.do(t, "POST", "/api/diagnose", test.body)
		if got.Code != http.StatusOK || !strings.Contains(got.Body.String(), test.want) {
			t.Errorf("%s: %d %s", test.body, got.Code, got.Body)
		}
	}
	for _, bad := range []string{
		`{}`, `{"string":"none","seen":"RGB"}`, `{"string":"gable-left"}`, `{"string":"gable-left","seen":"purple"}`, `{"seen":"RGB"}`,
		`{"string":"gable-left","last_lit":51}`, `{"string":"gable-left","half":{"good":60,"dark":2}}`, `{"string":"gable-left","half":{"good":-4,"dark":1e3}}`,
		`{"dark":[]}`, `{"scan":[]}`, `{"string":"gable-left","scan":[{"first":-1,"last":2,"value":1}]}`, `{"dark":["none"]}`, `{"answered":{"none":"gable-left"}}`, `{"string":"gable-left","amps":1,"feed":"middle"}`,
		`{"string":"gable-left","amps":1,"meter":"some"}`, `{"string":"gable-left","volts":[{"at":"pixel 99","volts":1}]}`, `{"string":"gable-left","amps":1e300}`,
	} {
		y.wants(t, http.StatusBadRequest, "POST", "/api/diagnose", bad)
	}
	var table struct{ Symptoms []map[string]any }
	y.do(t, "GET", "/api/symptoms", "").json(&table)
	if len(table.Symptoms) < 20 {
		t.Errorf("%d symptoms", len(table.Symptoms))
	}
	y.do(t, "GET", "/api/symptoms?words=sparkle", "").json(&table)
	if len(table.Symptoms) == 0 || len(table.Symptoms) >= 20 {
		t.Errorf("%d symptoms for a word", len(table.Symptoms))
	}
}

func FuzzDiagnose(f *testing.F) {
	for _, s := range []string{`{"string":"gable-left","half":{"good":-9,"dark":9223372036854775807},"pixel":-1,"lit":false}`, `{"dark":[""]}`, `{"string":"gable-left","runs":"?"}`} {
		f.Add(s)
	}
	y := newYard(f, nil)
	f.Fuzz(func(t *testing.T, body string) {
		defer mustEnd(body)()
		if got := y.do(t, "POST", "/api/diagnose", body).Code; got == http.StatusInternalServerError {
			t.Errorf("%q answers %d", body, got)
		}
	})
}
