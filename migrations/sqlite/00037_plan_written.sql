-- The same as in ../postgres, by a count of writes; the reasons are there.

-- +goose Up

create table plan_written (
    one  integer primary key check (one = 1),
    mark integer not null
) strict;
insert into plan_written (one, mark) values (1, 0);

-- +goose StatementBegin
create trigger plan_written_bookings_insert after insert on bookings
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_bookings_update after update on bookings
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_bookings_delete after delete on bookings
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_booking_work_insert after insert on booking_work
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_booking_work_update after update on booking_work
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_booking_work_delete after delete on booking_work
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_proposal_visits_insert after insert on proposal_visits
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_proposal_visits_update after update on proposal_visits
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_proposal_visits_delete after delete on proposal_visits
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_workshops_insert after insert on workshops
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_workshops_update after update on workshops
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_workshops_delete after delete on workshops
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_depots_insert after insert on depots
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_depots_update after update on depots
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_depots_delete after delete on depots
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_fleets_insert after insert on fleets
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_fleets_update after update on fleets
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
-- +goose StatementBegin
create trigger plan_written_fleets_delete after delete on fleets
begin
    update plan_written set mark = mark + 1;
end;
-- +goose StatementEnd
