DROP TRIGGER month_is_guarded ON billing_monthclose;
DROP FUNCTION billing_guard_month();
