DROP TRIGGER line_is_guarded ON billing_costline;
DROP TRIGGER share_is_guarded ON billing_share;
DROP FUNCTION billing_guard_part_of_cost();
