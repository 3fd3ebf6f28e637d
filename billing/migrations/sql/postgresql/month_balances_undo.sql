DROP TRIGGER month_balance_is_guarded ON billing_monthbalance;
DROP FUNCTION billing_guard_month_balance();
