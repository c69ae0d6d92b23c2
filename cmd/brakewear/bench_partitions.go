package main

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"brakewear/internal/fleet"
	"brakewear/internal/pgserver"
)

type benchPartitionsCmd struct {
	Readings   int    `help:"How many thickness readings." default:"2000000"`
	Fleets     int    `help:"Of how many fleets of one size." default:"200"`
	Partitions int    `help:"Into how many partitions." default:"16"`
	Format     string `help:"How to print: table or json." default:"table" enum:"table,json"`
}

func (c benchPartitionsCmd) Help() string {
	return `Fills two tables on a PostgreSQL server of its own with the same invented readings, 25 visits of
8 readings to a vehicle in the order in which they would come: one as the program has it, one
partitioned by the hash of the fleet. Then does with both what the program does: one vehicle's
history, the refit's rounds of 256 vehicles, a day's upload, corrections, vacuum. Where a query
of the partitioned table names the fleet the server looks into one partition only; the
program's own queries go by vehicle. 20 million readings take some 15 GB of /tmp, and 10 minutes. Example:
  brakewear bench partitions --readings 1000000`
}

// partitionsBench is what one thing took.
type partitionsBench struct {
	What  string  `json:"what"`
	Unit  string  `json:"unit"`
	Plain float64 `json:"plain"`
	Parts float64 `json:"partitioned"`
	// With the fleet named in each query; 0 where there is no such query.
	Named float64 `json:"partitioned_fleet_named"`
}

const (
	visitsEach, readingsEach = 25, 8 // of a vehicle, and of a visit
	// benchHistories is how many vehicles' histories are read, benchRounds256
	// how many rounds of a refit.
	benchHistories, benchRounds256, roundOf = 2000, 80, 256
)

// readingColumns are those of thickness_readings.
const readingColumns = `fleet_id bigint not null, vehicle_id bigint not null, inspection_id bigint not null, day date not null,
	axle integer not null, part text collate "C" not null, side text collate "C" not null, face text collate "C" not null,
	mm double precision not null, tripped boolean not null, given text not null, unit text not null, gauge text not null,
	note text not null, upload_id bigint not null, line integer not null, superseded_by bigint, set_aside_reason text,
	set_aside_by text, set_aside_at timestamptz, revision integer not null`

const filledColumns = `(fleet_id, vehicle_id, inspection_id, day, axle, part, side, face, mm, tripped, given, unit, gauge, note,
	upload_id, line, revision)`

const readingKey = `vehicle_id, day, axle, part, side, face, mm, tripped, revision`

func (c benchPartitionsCmd) Run(e *env) error {
	perVehicle := visitsEach * readingsEach
	if c.Fleets < 1 || c.Partitions < 1 || c.Readings < c.Fleets*perVehicle {
		return fleet.Invalidf("want at least one fleet and partition, and %d readings for each fleet", perVehicle)
	}
	srv, err := pgserver.Start(pgserver.Usual)
	if err != nil {
		return err
	}
	b := partitionsRun{c: c, e: e, srv: srv, each: c.Readings / perVehicle / c.Fleets}
	b.vehicles = b.each * c.Fleets
	err = e.during("timing", b.all)
	if err = errors.Join(err, srv.Stop()); err != nil {
		return err
	}
	if c.Format == "json" {
		return e.printJSON(b.results)
	}
	return partitionsTable(e.stdout, b.vehicles*perVehicle, b.results)
}

// partitionsRun is one run of the measurement.
type partitionsRun struct {
	c              benchPartitionsCmd
	e              *env
	srv            *pgserver.Server
	vehicles, each int // in all, and to a fleet
	results        []partitionsBench
}

func (b *partitionsRun) sql(text string) (string, error) {
	if err := b.e.ctx.Err(); err != nil {
		return "", err
	}
	return b.srv.Run("postgres", text)
}

// times runs a statement for each table, and for the partitioned one with the
// fleet named where that is one more, and keeps how long each took, divided by a
// number.
func (b *partitionsRun) times(what, unit string, by float64, plain, parts, named string) error {
	r := partitionsBench{What: what, Unit: unit}
	for _, s := range []struct {
		text string
		to   *float64
	}{{plain, &r.Plain}, {parts, &r.Parts}, {named, &r.Named}} {
		if s.text == "" {
			continue
		}
		start := b.e.now()
		if _, err := b.sql(s.text); err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		*s.to = b.e.now().Sub(start).Seconds() / by
	}
	b.results = append(b.results, r)
	return nil
}

// both is times for what reads the same but for the table.
func (b *partitionsRun) both(what, text string) error {
	return b.times(what, "s", 1, strings.ReplaceAll(text, "TABLE", "plain"), strings.ReplaceAll(text, "TABLE", "parts"), "")
}

func (b *partitionsRun) all() error {
	if err := b.make(); err != nil {
		return err
	}
	file := filepath.Join(b.srv.URL.Query().Get("host"), "rows.csv") // goes with the server
	if _, err := b.sql(fmt.Sprintf(`copy (%s) to '%s' csv`, b.rows(fmt.Sprintf("generate_series(0, %d) visit, generate_series(1, %d) v", visitsEach-1, b.vehicles)), file)); err != nil {
		return err
	}
	if err := b.both("load all, by COPY", fmt.Sprintf(`copy TABLE %s from '%s' csv`, filledColumns, file)); err != nil {
		return err
	}
	if err := b.both("vacuum and analyze", `vacuum (analyze) TABLE`); err != nil {
		return err
	}
	if err := b.sizes(); err != nil {
		return err
	}
	if err := b.reads(); err != nil {
		return err
	}
	if err := b.due(); err != nil {
		return err
	}
	day := b.rows(fmt.Sprintf("generate_series(%d, %d) visit, generate_series(1, %d, 100) v", visitsEach, visitsEach, b.vehicles))
	for _, s := range []struct{ what, text string }{
		{"read all, in the order of the table", `set jit = off; set max_parallel_workers_per_gather = 0; select count(*), sum(mm) from TABLE`},
		{"a day's readings of 1 % of vehicles", `insert into TABLE ` + filledColumns + day},
		{"set 1 % of all aside", `update TABLE set set_aside_at = now(), set_aside_by = 'x', set_aside_reason = 'y' where vehicle_id % 100 = 3`},
		{"vacuum after that", `vacuum TABLE`},
	} {
		if err := b.both(s.what, s.text); err != nil {
			return err
		}
	}
	return nil
}

// make makes the tables. A unique key of a partitioned table must have the
// fleet in it.
func (b *partitionsRun) make() error {
	var s strings.Builder
	fmt.Fprintf(&s, `
		create table plain (id bigint generated always as identity primary key, %s);
		create unique index plain_key on plain (%s);
		create sequence parts_id;
		create table parts (id bigint not null default nextval('parts_id'), %s, primary key (fleet_id, id)) partition by hash (fleet_id);
		create unique index parts_key on parts (%s, fleet_id);
		`, readingColumns, readingKey, readingColumns, readingKey)
	for n := range b.c.Partitions {
		fmt.Fprintf(&s, "create table parts_%d partition of parts for values with (modulus %d, remainder %d);\n", n, b.c.Partitions, n)
	}
	_, err := b.sql(s.String())
	return err
}

// rows is a query for the readings of visits of vehicles, in that order.
func (b *partitionsRun) rows(of string) string {
	return fmt.Sprintf(`
		select (v - 1) / %d + 1, v, visit * %d::bigint + v, date '2022-01-01' + visit * 58 + (v * 7919 %% 58)::int, 1 + p / 4, 'pad',
			case when p %% 4 < 2 then 'left' else 'right' end, case when p %% 2 = 0 then 'inner' else 'outer' end,
			round((14 - visit * .35 - ((v * 31 + p * 17) %% 20) / 20.0)::numeric, 1)::float8, false, '', 'mm', '0.1 mm caliper', '',
			1 + visit, (v * 8 + p)::int, 0
		from %s, generate_series(0, %d) p`, b.each, b.vehicles, of, readingsEach-1)
}

// sizes keeps how large tables and indexes are.
func (b *partitionsRun) sizes() error {
	for _, s := range []struct{ what, of string }{
		{"table", "pg_table_size"},
		{"indexes", "pg_indexes_size"},
	} {
		out, err := b.sql(fmt.Sprintf(`
			select %s('plain') / 1e6;
			select sum(%s(inhrelid)) / 1e6 from pg_inherits where inhparent = 'parts'::regclass;`, s.of, s.of))
		if err != nil {
			return err
		}
		r := partitionsBench{What: s.what, Unit: "MB"}
		f := strings.Fields(out)
		if len(f) != 2 {
			return fmt.Errorf("sizes: got %q", out)
		}
		for i, to := range []*float64{&r.Plain, &r.Parts} {
			if *to, err = strconv.ParseFloat(f[i], 64); err != nil {
				return fmt.Errorf("sizes: %w", err)
			}
		}
		b.results = append(b.results, r)
	}
	return nil
}

// reads keeps how long one vehicle's history and a refit's round take, with the
// settings that the program reads by.
func (b *partitionsRun) reads() error {
	dice := rand.New(rand.NewPCG(1, 1))
	query := func(table, fleets, vehicles string) string {
		if fleets != "" {
			fleets = "fleet_id in (" + fleets + ") and "
		}
		return `select count(*), sum(mm) from (
			select id, vehicle_id, axle, part, side, face, day, mm, given, unit, gauge, note, tripped, upload_id, line
			from ` + table + ` where ` + fleets + `vehicle_id in (` + vehicles + `) and set_aside_at is null order by ` + readingKey + `) x;` + "\n"
	}
	var plain, parts, named strings.Builder
	add := func(first, n int) {
		var ids []string
		fleets := map[int]bool{}
		var of []string
		for v := first; v < first+n; v++ {
			ids = append(ids, strconv.Itoa(v))
			if f := (v-1)/b.each + 1; !fleets[f] {
				fleets[f] = true
				of = append(of, strconv.Itoa(f))
			}
		}
		list := strings.Join(ids, ", ")
		plain.WriteString(query("plain", "", list))
		parts.WriteString(query("parts", "", list))
		named.WriteString(query("parts", strings.Join(of, ", "), list))
	}
	const settings = "set enable_seqscan = off; set enable_hashjoin = off; set enable_mergejoin = off; set jit = off;\n"
	run := func(what string, times int) error {
		err := b.times(what, "ms", float64(times)/1000, settings+plain.String(), settings+parts.String(), settings+named.String())
		plain.Reset()
		parts.Reset()
		named.Reset()
		return err
	}
	for range benchHistories {
		add(1+dice.IntN(b.vehicles), 1)
	}
	if err := run("one vehicle's readings", benchHistories); err != nil {
		return err
	}
	size := min(roundOf, b.vehicles)
	for range benchRounds256 {
		add(1+dice.IntN(b.vehicles-size+1), size)
	}
	return run("a refit's round of "+strconv.Itoa(size), benchRounds256)
}

// due keeps how long a page of the due-soon list takes, of all fleets and of one.
func (b *partitionsRun) due() error {
	const columns = `(fleet_id bigint, vehicle_id bigint, axle integer, by_due date, rest text`
	var s strings.Builder
	fmt.Fprintf(&s, `
		create table due_plain %s, primary key (vehicle_id, axle));
		create table due_parts %s, primary key (fleet_id, vehicle_id, axle)) partition by hash (fleet_id);
		`, columns, columns)
	for n := range b.c.Partitions {
		fmt.Fprintf(&s, "create table due_%d partition of due_parts for values with (modulus %d, remainder %d);\n", n, b.c.Partitions, n)
	}
	for _, table := range []string{"due_plain", "due_parts"} {
		fmt.Fprintf(&s, `
			create index on %[1]s (by_due, vehicle_id, axle);
			create index on %[1]s (fleet_id, by_due, vehicle_id, axle);
			insert into %[1]s
			select (v - 1) / %[2]d + 1, v, a, date '2026-03-01' + (v * 7919 %% 900)::int, repeat('x', 800)
			from generate_series(1, %[3]d) v, generate_series(1, 2) a;
			vacuum analyze %[1]s;`, table, b.each, b.vehicles)
	}
	if _, err := b.sql(s.String()); err != nil {
		return err
	}
	dice := rand.New(rand.NewPCG(2, 2))
	var plain, parts, one, named strings.Builder
	for range benchHistories {
		page := fmt.Sprintf("order by by_due, vehicle_id, axle limit 50 offset %d;\n", dice.IntN(50))
		plain.WriteString("select * from due_plain " + page)
		parts.WriteString("select * from due_parts " + page)
		of := fmt.Sprintf("where fleet_id = %d %s", 1+dice.IntN(b.c.Fleets), page)
		one.WriteString("select * from due_plain " + of)
		named.WriteString("select * from due_parts " + of)
	}
	const by = benchHistories / 1000.
	if err := b.times("a list page of all", "ms", by, plain.String(), parts.String(), ""); err != nil {
		return err
	}
	return b.times("a list page of one fleet", "ms", by, one.String(), named.String(), "")
}

func partitionsTable(w io.Writer, readings int, results []partitionsBench) error {
	fmt.Fprintf(w, "%d invented readings\n", readings)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "what\tunit\tplain\tpartitioned\tfleet named\t")
	for _, r := range results {
		named := "-"
		if r.Named > 0 {
			named = fmt.Sprintf("%.2f", r.Named)
		}
		fmt.Fprintf(t, "%s\t%s\t%.2f\t%.2f\t%s\t\n", r.What, r.Unit, r.Plain, r.Parts, named)
	}
	return t.Flush()
}
