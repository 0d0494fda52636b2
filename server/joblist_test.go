package server

import (
	"strings"
	"testing"

	"brasspeg/store"
)

// The list of jobs finds by words, narrows by what is asked, says what is to do, and tells an
// empty shop what to enter first.
func TestJobList(t *testing.T) {
	sh := newShop(t)
	ctx := t.Context()
	c := sh.as("mads")
	body := c.get("/jobs").body
	for _, want := range []string{"To do now", "Choose its stack: nothing is promised to it yet", "See what it lacks", "To come"} {
		if !strings.Contains(body, want) {
			t.Errorf("the list does not say %q", want)
		}
	}
	if strings.Contains(body, "Under way") && strings.Contains(body, ">Jobs that run now<") {
		t.Error("a job is under way in a shop where none is")
	}
	j, err := sh.store.JobByCode(ctx, "J-1")
	must(t, err)
	_, err = sh.store.Plan(ctx, sh.op("mads"), store.PlanIn{Job: j.ID})
	must(t, err)
	if body = c.get("/jobs").body; !strings.Contains(body, "Issue its kit and start it") {
		t.Error("planned for tomorrow with its kit there, and the list does not say what is next")
	}
	for _, tt := range []struct {
		path        string
		has, hasNot string
	}{
		{"/jobs?show=ready", "/jobs/J-1", "/jobs/J-2"}, {"/jobs?show=lacks", "/jobs/J-2", "/jobs/J-1"}, {"/jobs?show=open", "/jobs/J-2", "/jobs/J-1"},
		{"/jobs?q=j-1", "/jobs/J-1", "/jobs/J-2"}, {"/jobs?q=lathe+HOUSING", "/jobs/J-2", ""}, {"/jobs?q=brass", "No job is like that", "/jobs/J-1"},
		{"/jobs?show=clash", "No job is like that", "/jobs/J-1"}, {"/jobs?show=ended", "No job that is done or closed is like that", "/jobs/J-1"},
	} {
		body := c.get(tt.path).body
		if !strings.Contains(body, tt.has) || tt.hasNot != "" && strings.Contains(body, tt.hasNot+"\"") {
			t.Errorf("%s: has %q: %v, has %q: %v", tt.path, tt.has, strings.Contains(body, tt.has), tt.hasNot, strings.Contains(body, tt.hasNot))
		}
	}
	if a := c.get("/jobs?show=anything"); a.status != 422 {
		t.Errorf("another list: %d", a.status)
	}
	_, err = sh.store.StartJob(ctx, sh.op("brisa"), store.StartIn{Job: j.ID})
	must(t, err)
	if body = c.get("/jobs").body; !strings.Contains(body, "Jobs that run now") || !strings.Contains(body, "/jobs/J-1/close") {
		t.Error("a started job is not under way")
	}
	if body = sh.as("ivo").get("/jobs").body; strings.Contains(body, "/close") {
		t.Error("an operator is sent to close a job")
	}

	empty := emptyShop(t)
	person, _, err := empty.store.AddPerson(ctx, 0, store.PersonIn{Login: "mads", Name: "Mads Hurrel", Role: store.Manager, Password: testPassword})
	must(t, err)
	empty.people["mads"] = person
	if body = empty.as("mads").get("/jobs").body; !strings.Contains(body, "No job is planned and none is under way.") || !strings.Contains(body, "Enter the first") {
		t.Error("an empty shop is not told what to do")
	}
}
