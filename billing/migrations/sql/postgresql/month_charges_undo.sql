DROP TRIGGER month_charges_are_guarded ON billing_monthcharges;
DROP FUNCTION billing_guard_month_charges();
DROP TRIGGER charge_line_is_guarded ON billing_monthchargeline;
DROP TRIGGER charge_share_is_guarded ON billing_monthchargeshare;
DROP FUNCTION billing_guard_part_of_charges();
