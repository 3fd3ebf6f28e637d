-- The balances at a month's end are kept when that month is closed, and stand for good.

CREATE FUNCTION billing_guard_month_balance() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        IF NEW."on" IS DISTINCT FROM (
            SELECT (max(month) + interval '1 month' - interval '1 day')::date
            FROM billing_monthclose
        ) THEN
            PERFORM billing_refuse('month_balance_is_of_the_month_just_closed',
                'a close keeps its balances');
        END IF;
        RETURN NEW;
    END IF;
    PERFORM billing_refuse(
        CASE TG_OP WHEN 'DELETE' THEN 'month_balance_is_not_deleted'
            ELSE 'month_balance_is_not_changed' END,
        'what a month ended with stands for good');
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER month_balance_is_guarded
BEFORE INSERT OR UPDATE OR DELETE ON billing_monthbalance
FOR EACH ROW EXECUTE FUNCTION billing_guard_month_balance();
