-- Months close one after the other and stay closed.

CREATE FUNCTION billing_guard_month() RETURNS trigger AS $$
BEGIN
    IF TG_OP = 'INSERT' THEN
        IF NEW.month <> (SELECT max(month) + interval '1 month' FROM billing_monthclose) THEN
            PERFORM billing_refuse('months_close_in_order',
                'the month after the last closed one is next');
        END IF;
        RETURN NEW;
    END IF;
    PERFORM billing_refuse(
        CASE TG_OP WHEN 'DELETE' THEN 'closed_month_is_not_deleted'
            ELSE 'closed_month_is_not_changed' END,
        'a closed month stays closed');
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER month_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_monthclose
FOR EACH ROW EXECUTE FUNCTION billing_guard_month();
