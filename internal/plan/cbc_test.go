package plan

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// writeLP writes the instance as a mixed integer program in LP format. relaxed leaves out that choices are whole.
func writeLP(t testing.TB, in *instance, relaxed bool) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "plan.lp")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w := bufio.NewWriter(f)
	defer w.Flush()
	hours := make([][]string, len(in.cap))
	visits := make([][]string, len(in.cap))
	var cover, apart, names []string
	fmt.Fprintln(w, "Minimize")
	fmt.Fprintln(w, " obj: 0 zero")
	for i := range in.veh {
		v := &in.veh[i]
		jobs := make([][]string, len(v.jobs))
		days := make(map[int32][]string)
		for g, opts := range v.options {
			for k, o := range opts {
				x := fmt.Sprintf("x_%d_%d_%d", i, g, k)
				names = append(names, x)
				fmt.Fprintf(w, " + %.12g %s\n", o.cost, x)
				for j := range v.jobs {
					if v.shape.groups[g]&(1<<j) != 0 {
						jobs[j] = append(jobs[j], x)
					}
				}
				if o.slot >= 0 {
					hours[o.slot] = append(hours[o.slot], fmt.Sprintf("%d %s", o.min, x))
					if o.visit > 0 {
						visits[o.slot] = append(visits[o.slot], x)
					}
					days[o.day] = append(days[o.day], x)
				}
			}
		}
		for j := range jobs {
			cover = append(cover, fmt.Sprintf(" c_%d_%d: %s = 1", i, j, strings.Join(jobs[j], "\n + ")))
		}
		if len(v.jobs) > 1 {
			for d := range int32(in.days) {
				if len(days[d]) > 1 {
					apart = append(apart, fmt.Sprintf(" d_%d_%d: %s <= 1", i, d, strings.Join(days[d], "\n + ")))
				}
			}
		}
	}
	for s := range in.cap {
		if len(hours[s]) > 0 {
			fmt.Fprintf(w, " + %.12g y_%d\n", in.rate, s)
		}
	}
	fmt.Fprintln(w, "Subject To")
	for _, l := range append(cover, apart...) {
		fmt.Fprintln(w, l)
	}
	for s, c := range in.cap {
		if len(hours[s]) > 0 {
			fmt.Fprintf(w, " h_%d: %s - y_%d <= %d\n", s, strings.Join(hours[s], "\n + "), s, c.normal)
		}
		if len(visits[s]) > 0 {
			fmt.Fprintf(w, " v_%d: %s <= %d\n", s, strings.Join(visits[s], "\n + "), c.visits)
		}
	}
	fmt.Fprintln(w, "Bounds")
	fmt.Fprintln(w, " zero = 0")
	for s, c := range in.cap {
		if len(hours[s]) > 0 {
			fmt.Fprintf(w, " y_%d <= %d\n", s, c.over)
		}
	}
	if !relaxed {
		fmt.Fprintln(w, "Binaries")
		for _, n := range names {
			fmt.Fprintln(w, n)
		}
	}
	fmt.Fprintln(w, "End")
	return name
}

func runCBC(t testing.TB, name string, sec int) string {
	out, err := exec.Command("cbc", name, "ratio", "0", "allow", "0", "sec", fmt.Sprint(sec), "solve", "printi", "csv", "quit").CombinedOutput()
	if err != nil {
		t.Fatal(err, string(out))
	}
	return string(out)
}
