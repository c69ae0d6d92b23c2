-- What a page says of bookings, proposals and workshops is held in memory by every
-- process. The row here says which transaction wrote last to the tables it is of: most
-- of what is written, such as forecasts, leaves it alone.

-- +goose Up

create table plan_written (
    one  integer primary key check (one = 1),
    mark bigint not null
);
insert into plan_written (one, mark) values (1, 0);

-- +goose StatementBegin
create function plan_written() returns trigger language plpgsql as $$
begin
    update plan_written set mark = txid_current() where mark <> txid_current();
    return null;
end
$$;
-- +goose StatementEnd

-- At the end of a transaction: from here on others wait for it that write to these
-- tables too, and it waits for nobody.
create constraint trigger plan_written after insert or update or delete on bookings
    deferrable initially deferred for each row execute function plan_written();
create constraint trigger plan_written after insert or update or delete on booking_work
    deferrable initially deferred for each row execute function plan_written();
create constraint trigger plan_written after insert or update or delete on proposal_visits
    deferrable initially deferred for each row execute function plan_written();
create constraint trigger plan_written after insert or update or delete on workshops
    deferrable initially deferred for each row execute function plan_written();
create constraint trigger plan_written after insert or update or delete on depots
    deferrable initially deferred for each row execute function plan_written();
create constraint trigger plan_written after insert or update or delete on fleets
    deferrable initially deferred for each row execute function plan_written();
